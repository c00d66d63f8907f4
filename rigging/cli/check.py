"""`ribangle check JOB PHOTOS`: is everything there and sharp, before the set-up is taken down."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from shared.rounding import number, places

if TYPE_CHECKING:
    from rigging.preflight.job import JobCheck, StationCheck
    from rigging.preflight.photo import PhotoCheck
    from shared.job.model import Job


@click.command(epilog="Example: ribangle check wing.toml photos")
@click.argument("job", type=click.Path(path_type=Path))
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--quick", is_flag=True, help="Only cards, sharpness and lens; do not look for lines.")
@click.option("--station", "only", multiple=True, metavar="NAME", help="Only this station; repeat for more.")
@click.option(
    "--jobs",
    type=click.IntRange(1, 1024),
    metavar="N",
    help="Processes that share the work. [default: one for each core]",
)
@click.option("--follow-links", is_flag=True, help="Read photos through links that lead out of their folder.")
def check(
    job: Path, photos: tuple[Path, ...], quick: bool, only: tuple[str, ...], jobs: int | None, follow_links: bool
) -> int:
    """Say in seconds what is missing or blurred in PHOTOS (files or folders) of JOB, and how well each will be known.

    Cards, chord line, level reference, spar line, reference marks, lens profile, files and numbers of the job, the U to be
    expected and what would halve it; station by station, each with its remedy. No angles are given.

    Exit code: 0 every station can be measured, 1 something is missing, 2 bad input.
    """
    from rigging.batch.find import find_photos
    from rigging.planning.lint_cards import hints
    from rigging.preflight.job import check_job
    from shared.job.file import load_job

    loaded = load_job(job)
    sources = find_photos(photos, follow_links=follow_links)
    result = check_job(loaded, sources, lines=not quick, workers=jobs, only=only)
    _show(result, quick)
    if not only:
        _tell_order(loaded, result)
    for hint in hints(loaded, job.name):
        click.echo(f"job: {hint.words}")
    return 0 if result.ready else 1


def _show(result: JobCheck, quick: bool) -> None:
    from rigging.cli.show import console as screen
    from rigging.survey.screen import plain_table
    from shared.job.named import Place

    console = screen()
    if result.limit:
        console.print(f"{result.limit}\n", soft_wrap=True)
    names: tuple[str, ...] = ("station", "photos", "cards", "sharp", "lens")
    names += () if quick else ("chord", "level", "spar", "marks", "U")
    table = plain_table(*names, left=names)
    for s in result.stations:
        table.add_row(*_row(s, quick))
    console.print(table)
    for s in result.stations:
        for t in s.troubles:
            if t.grade == "missing":
                console.print(f"{s.station.name}: {t.text}", soft_wrap=True)
        for p in s.photos:
            _photo(console.print, p)
    for p in result.stray:
        _photo(console.print, p)
    for t in result.troubles:
        console.print(f"job: {t.text}", soft_wrap=True)
    unseen = [f"{n} ({s.station.name})" for s in result.stations if s.ready for n in s.unseen]
    if unseen:
        console.print(f"in no photo: card {', '.join(unseen)}; two cards on one rib check each other", soft_wrap=True)
    ready = sum(s.ready for s in result.stations)
    places = " and places" if any(isinstance(s.station, Place) for s in result.stations) else ""
    console.print(
        f"{ready} of {len(result.stations)} stations{places} can be measured."
        + ("" if result.ready else " Mend the above while everything still hangs.")
    )


def _tell_order(job: Job, result: JobCheck) -> None:
    """The first step of the set-up that lacks photos."""
    from rigging.order.ahead import first_missing

    missing = first_missing(job, {s.station.name for s in result.stations if s.ready})
    if missing is not None:
        click.echo(
            f"In the set-up's order next: {missing[0]}: no photo yet that can be measured of {', '.join(missing[1])}"
        )


def _photo(say: object, p: PhotoCheck) -> None:
    for t in p.troubles:
        say(f"{p.name}: {t.text}", soft_wrap=True)  # type: ignore[operator]
    if p.further:
        behind = f"{p.station}, with {', '.join(p.further)} behind it, read as well where the chord line shows"
        say(f"{p.name}: {behind}", soft_wrap=True)  # type: ignore[operator]


def _row(s: StationCheck, quick: bool) -> list[str]:
    fit = [p for p in s.photos if p.fit]
    row = [
        s.station.name,
        f"{len(fit)} of {len(s.photos)}" if s.photos else "none",
        f"{len(s.station.cards) - len(s.unseen)} of {len(s.station.cards)}",
        _all(p.blur_px is not None and not _has(p, "blurred", "unfit") for p in s.photos),
        _all(bool(p.profile) for p in s.photos if p.profile is not None),
    ]
    if quick:
        return row
    marks = max((p.marks for p in s.photos), default=0)
    best = min((p.U for p in fit if math.isfinite(p.U)), default=math.nan)
    level = {r for p in s.photos if (r := p.reference)}
    return [
        *row,
        _all(p.chord for p in s.photos if p.chord is not None),
        "+".join(sorted(level)) or ("no" if s.photos else ""),
        _all(p.spar for p in s.photos if p.spar is not None),
        str(marks) if s.photos else "",
        f"{number(best, places(best))}°" if math.isfinite(best) else "",
    ]


def _has(p: PhotoCheck, *codes: str) -> bool:
    return any(t.code in codes for t in p.troubles)


def _all(found: object) -> str:
    values = list(found)  # type: ignore[call-overload]
    if not values:
        return ""
    good = sum(map(bool, values))
    return "yes" if good == len(values) else "no" if good == 0 else f"{good} of {len(values)}"
