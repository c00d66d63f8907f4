"""`ribangle plan JOB`: what U to expect before any photo, and the cheapest set-up that decides."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rigging.cli.console import echo
from rigging.cli.gathered import gathered

if TYPE_CHECKING:
    from calibration.lens.model import Lens
    from rigging.planning.plan import Limit, PhotoSetup, StationPlan
    from rigging.survey.screen import Fitting
    from shared.job.model import Job, Station
    from shared.lengths import Units


WELL_KNOWN_LEAN_DEG = 0.1
"""Standard uncertainty of a lean read from a bubble level on the rib's face: two photos show no more."""


@dataclass(frozen=True)
class PlanOptions:
    """What the command is asked: its arguments and options."""

    job: Path
    camera: str | None
    distance: str | None
    count: int | None
    string_at: str | None
    aside: str | None
    photos: int
    part: float
    units: Units | None


@click.command(epilog='Example: ribangle plan wing.toml --camera 27mm@4000x3000 --distance "4 ft" --units in')
@click.argument("job", type=click.Path(path_type=Path))
@click.option(
    "--camera",
    metavar="WHAT",
    help=(
        "A lens profile's path, or a phone by its EXIF values: 27mm@4000x3000, with the word uncalibrated "
        "where it "
        "has no profile. Default: the profile in the job's lens folder, else 26mm@4000x3000."
    ),
)
@click.option(
    "--distance",
    metavar="LENGTH",
    help=("From camera to rib: 1200, 1.2 m, 48 in. Default: as far as makes the rib two thirds of the picture."),
)
@click.option("--cards", "count", type=click.IntRange(1, 2), help="Cards on each rib. Default: as the job says.")
@click.option(
    "--string",
    "string_at",
    metavar="LENGTH",
    help=("How far along the chord the string hangs from mid chord. Default: a fifth of the chord."),
)
@click.option(
    "--aside",
    metavar="LENGTH",
    help=(
        "How far along the chord the lens stands from the string; 0: right opposite it, square to the rib. "
        "Without it plan asks, where it can; else: wherever a hand takes it."
    ),
)
@click.option("--photos", type=click.IntRange(1, 9), default=1, show_default=True, help="Photos of each station.")
@click.option(
    "--part",
    type=click.FloatRange(0.05, 1.0),
    default=1 / 3,
    show_default="1/3",
    help="U that counts as deciding, as a part of the tolerance.",
)
@click.option("--units", type=click.Choice(["mm", "in"]), help="Lengths shown in. [default: the job's]")
@gathered(PlanOptions)
def plan(asked: PlanOptions) -> None:
    """Say how well each station can be read, before a photo is taken.

    JOB is the job file. For each station: U to expect (k = 2, the middle of what hands do, and nine in ten of
    them), and the least trouble that would bring U down to what decides its tolerance.
    """
    aside = asked.aside
    from rigging.planning.lint_cards import hints
    from rigging.planning.plan import PhotoSetup, limit_of, plan_job
    from shared.job.file import load_job
    from shared.lengths import parse_length

    loaded = load_job(asked.job)
    for hint in hints(loaded, asked.job.name):
        echo(f"job: {hint.words}", err=True)
    lens = _lens(loaded, asked.camera)
    if aside is None and _somebody_there():
        aside = _ask_aside()
    far = None if asked.distance is None else parse_length(asked.distance, "--distance")
    hung = None if asked.string_at is None else parse_length(asked.string_at, "--string")
    stands = None if aside is None else parse_length(aside, "--aside")
    choices = [
        PhotoSetup(
            distance_mm=far,
            string_at=0.2 if hung is None else hung / s.chord_mm,
            photos=asked.photos,
            aside=None if stands is None else stands / s.chord_mm,
            cards=asked.count or min(max(len(s.cards), 1), 2),
        )
        for s in loaded.stations
    ]
    plans = plan_job(loaded, lens, choices, asked.part)
    _show(plans, limit_of(loaded, lens, plans), lens, asked.part, asked.units or loaded.length_unit)
    if loaded.lines:
        _show_lines(loaded, lens, choices[0], asked.part)
    _tell_board(loaded, asked.camera, lens, plans, choices, asked.part)
    _tell_order(loaded)
    if any(_lean_open(loaded, s) for s in loaded.stations):
        echo(
            "The ribs' lean is not known well: a second photo from one step to the side, the string towards the other "
            "end of the picture, measures it together with the first."
        )
    if aside is None:
        echo(
            "Where the lens stands is not stated (--aside): these figures are the middle of what hands do, and a "
            "photo's U may be half or twice as large; stated, it is foretold to some 15 %."
        )


def _tell_order(job: Job) -> None:
    """In what order to go on, and the time that the glue leaves for what comes after mixing."""
    from rigging.order.ahead import step_lines

    where = "as the job states it" if job.steps else "a usual one; [[step]] in the job states your own"
    echo(f"The set-up's order, {where}:")
    for line in step_lines(job):
        echo(f"  {line}")
    if job.glue is not None:
        echo(
            f"  From mixing on {job.glue.working_min:.0f} min are left to move and clamp: have all before it right by then."
        )


def _somebody_there() -> bool:
    """Whether there is a person to ask."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def _ask_aside() -> str | None:
    """Ask for the one thing that decides most and that no default can know; None: not known."""
    told = click.prompt(
        "How far along the chord will the lens stand from the string? "
        "(0: right opposite, as the guide says; a length as 200 or 8 in; Enter: not known)",
        default="",
        show_default=False,
    )
    return str(told).strip() or None


def _lean_open(job: Job, s: Station) -> bool:
    """Whether a station's lean is worth measuring by a second photo: unstated, or stated no better than a bubble level's."""
    u = s.u_lean_deg if s.u_lean_deg is not None else job.wing.u_lean_deg
    return u is None or u > WELL_KNOWN_LEAN_DEG


def _lens(job: Job, camera: str | None) -> Lens:
    from rigging.planning.lens import PHONE, kept_lens, planned_lens

    if camera is not None:
        return planned_lens(camera)
    if job.lens != "auto":
        return planned_lens(job.lens, job.folder)
    return kept_lens(job.folder / job.lens_folder) or planned_lens(PHONE)


def _tell_board(job: Job, camera: str | None, lens: Lens, plans: tuple[StationPlan, ...], choices: list[PhotoSetup],
                part: float) -> None:  # fmt: skip
    """What a session with the lens board would gain, or that the figures take one for granted."""
    from rigging.planning.lens import PHONE, planned_lens, with_board
    from rigging.planning.plan import plan_job

    none = camera is None and job.lens == "auto" and not any((job.folder / job.lens_folder).glob("*.json"))
    board = planned_lens(f"{PHONE} uncalibrated") if none else with_board(lens)
    if board is None:
        return
    other = plan_job(job, board, choices, part)
    now, then = (sorted(p.now.chord for p in some)[len(some) // 2] for some in (plans, other))
    if none:
        echo(
            f"No lens profile is kept: the figures above take a board session for granted (U {now:.3f}° in the middle). "
            f"Without one the first photos are read by the EXIF alone ({then:.3f}°); from four photos on the station "
            "cards determine the lens, and U lies between the two."
        )
    else:
        echo(
            f"The lens is known without a board; a dozen photos of one (ribangle calibrate lens) would bring U from "
            f"{now:.3f}° to {then:.3f}° in the middle of the stations."
        )


def _show(plans: tuple[StationPlan, ...], limit: Limit, lens: Lens, part: float, units: Units) -> None:
    from rigging.cli.show import console as screen
    from shared.cautions import SHORT

    console = screen()
    console.print(_limits(limit))
    console.print()
    console.print(_table(plans, lens, units))
    console.print()
    groups: dict[tuple[str, ...] | None, list[StationPlan]] = {}
    for p in plans:
        if not p.decides:
            groups.setdefault(None if p.steps is None else tuple(s.text for s in p.steps), []).append(p)
    if not groups:
        console.print(f"As planned, U is at most {part:.0%} of the tolerance at every station.")
    for steps, members in groups.items():
        names = ", ".join(p.station.name for p in members)
        then = max(p.then.chord for p in members)
        if steps is None:
            console.print(
                f"{names}: nothing here brings U below {part:.0%} of the tolerance; the best of it gives {then:.3f}°."
            )
        else:
            console.print(f"{names}: {'; '.join(steps)}. Then U is {then:.3f}° or less.")
    console.print(SHORT)


def _show_lines(job: Job, lens: Lens, choice: PhotoSetup, part: float) -> None:
    """The lines by name, each with U to expect."""
    from rich.text import Text

    from rigging.cli.show import console as screen
    from rigging.planning.lines import plan_lines
    from rigging.survey.screen import plain_table

    left = ("at", "line", "decides", "largest part")
    table = plain_table("at", "line", "U", "decides", "largest part", left=left, title="Lines by name")
    for p in plan_lines(job, lens, choice, part):
        known = p.U == p.U
        decides = f"{'yes' if p.decides else 'no'} ({p.needed:.3f}°)" if known else "does not fit into the picture"
        table.add_row(Text(p.line.at), Text(p.line.name), f"{p.U:.3f}°" if known else "", decides, p.largest)
    console = screen()
    console.print(table)
    console.print()


def _limits(limit: Limit) -> str:
    """What limits U most, and what would halve it: the first thing to read."""
    where = f"{limit.worst} (U {limit.now:.3f}°)"
    more = len(limit.stations) - 1
    others = f", and is the largest part at {more} more station{'s' if more > 1 else ''}" if more > 0 else ""
    said = f"What limits U most: {limit.part}, {limit.share:.0%} of the variance at {where}{others}."
    if limit.step is None:
        return f"{said} No single step here makes much of a difference."
    does = "halves it" if limit.halves else "helps most"
    return f"{said} What {does}: {limit.step.text}; U {limit.then:.3f}° instead of {limit.now:.3f}°."


def _table(plans: tuple[StationPlan, ...], lens: Lens, units: Units) -> Fitting:
    from rich.text import Text

    from rigging.survey.screen import Fitting, plain_table
    from shared.lengths import format_length

    title = f"Expected U (k = 2) with {lens.ident}"
    main = ("station", "U chord", "nine in ten", "U spar", "decides")
    more = ("distance", "cards", "largest part")
    left = ("station", "largest part")
    whole, first, second = (
        plain_table(*names, left=left, title=heading)
        for names, heading in (((*main, *more), title), (main, title), (("station", *more), None))
    )
    for p in plans:
        low, high = p.now.chord_range
        name = Text(p.station.name)
        spar = "" if p.now.spar is None else f"{p.now.spar:.3f}°"
        decides = f"{'yes' if p.decides else 'no'} ({p.needed:.3f}°)"
        figures = (name, f"{p.now.chord:.3f}°", f"{low:.2f} to {high:.2f}", spar, decides)
        rest = (format_length(p.distance_mm, units), str(p.choice.cards), p.now.budget[0][0])
        whole.add_row(*figures, *rest)
        first.add_row(*figures)
        second.add_row(name, *rest)
    return Fitting(((whole,), (first, Text(), second)))
