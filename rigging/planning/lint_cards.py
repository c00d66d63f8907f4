"""Whether cards of this job could be taken for another wing's: card numbers that another job beside it uses too."""

from __future__ import annotations

from collections.abc import Iterator

from rigging.order.ahead import order_hints
from shared.errors import UserError
from shared.job.file import load_job
from shared.job.lint import JobHint, lint
from shared.job.model import Job


def hints(job: Job, file_name: str) -> tuple[JobHint, ...]:
    """What looks like a slip, what is in none of the steps, which other job in the folder shares card numbers with this one."""
    return (*lint(job), *order_hints(job), *_other_wings(job, file_name))


def _other_wings(job: Job, file_name: str) -> Iterator[JobHint]:
    mine = {c for face in job.faces for c in face.cards}
    for place in sorted(job.folder.glob("*.toml")):
        if place.name == file_name:
            continue
        try:
            other = load_job(place)
        except UserError:
            continue  # no job, or one that says so itself when it is used
        both = sorted(mine & {c for face in other.faces for c in face.cards})
        if both and other.wing.name != job.wing.name:
            free = [n for n in range(31) if n not in mine and n not in {c for face in other.faces for c in face.cards}]
            remedy = (
                f"numbers {free[0]} to {free[-1]} hold {len(free)} that neither uses" if free else "no number is free"
            )
            yield JobHint(
                "cards-of-two-wings",
                "cards",
                f"{place.name} ({other.wing.name}) uses {len(both)} of the same card numbers ({_some(both)}): a photo of one "
                f"wing would pass for the other's. Give each wing its own ({remedy}), or keep photos and cards of the two "
                "well apart: the wing's name stands on each card",
            )


def _some(numbers: list[int]) -> str:
    return ", ".join(map(str, numbers[:5])) + (", ..." if len(numbers) > 5 else "")
