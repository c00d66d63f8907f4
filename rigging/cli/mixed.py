"""`ribangle mixed`: the moment at which the glue was mixed, written into the job."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click


@click.command(
    short_help="Say when the glue was mixed, and what time is left.", epilog="Example: ribangle mixed wing.toml now"
)
@click.argument("job_file", metavar="JOB", type=click.Path(path_type=Path))
@click.argument("when", default="now")
def mixed(job_file: Path, when: str) -> None:
    """Note under [glue] of JOB that the glue was mixed WHEN: now, a time as 9:15, or none to take the note back.

    From then on every survey gives the time that is left; after it, no turn is advised.
    """
    from rigging.survey.bonding import window
    from shared.files import write_whole
    from shared.job.file import load_job
    from shared.job.mixing import with_mixed_at

    load_job(job_file)
    now = datetime.now().replace(second=0, microsecond=0)
    raw = job_file.read_bytes()
    ends = "\r\n" if b"\r\n" in raw else "\n"
    text = raw.decode("utf-8-sig").replace("\r\n", "\n")
    changed = with_mixed_at(text, _moment(when, now), job_file.name)
    write_whole(
        job_file, (b"\xef\xbb\xbf" if raw.startswith(b"\xef\xbb\xbf") else b"") + changed.replace("\n", ends).encode()
    )
    glue = load_job(job_file).glue
    assert glue is not None
    click.echo(f"{job_file.name}: {window(glue, datetime.now()).words}")


def _moment(text: str, now: datetime) -> datetime | None:
    """The moment a word or a time names; None for none."""
    from datetime import timedelta

    from shared.errors import UserError

    word = text.strip().casefold()
    if word in ("none", "not", "no"):
        return None
    if word == "now":
        return now
    for form in ("%H:%M", "%H.%M"):
        try:
            clock = datetime.strptime(word, form)
        except ValueError:
            continue
        at = now.replace(hour=clock.hour, minute=clock.minute)
        return at if at <= now + timedelta(hours=1) else at - timedelta(days=1)
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        raise UserError(f"time {text!r}", "is no time", "write now, 9:15, or 2026-05-16T09:15") from None
    return at.astimezone().replace(tzinfo=None) if at.tzinfo else at
