"""What is known of the station cards' print: the job's profile or numbers, read again only when they changed."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from calibration.print.profile import KnownPrint, known_print
from shared.job.model import CardPrint, Job


def print_of(job: Job) -> KnownPrint:
    """The print of a job's cards. Raises UserError for a profile that cannot be used."""
    stamp = (0, 0)
    if job.prints.profile is not None:
        try:
            stat = (job.folder / job.prints.profile).stat()
            stamp = (stat.st_mtime_ns, stat.st_size)
        except OSError:
            pass  # reported by name below
    return _known(job.prints, job.folder, stamp)


@lru_cache(maxsize=32)
def _known(prints: CardPrint, folder: Path, _stamp: tuple[int, int]) -> KnownPrint:
    return known_print(prints, folder)
