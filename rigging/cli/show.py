"""`ribangle show`, `log`, `verify`, `budget`: the record of surveys read back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from rigging.record.chain import Record, Standing

_JOB = click.argument("job_file", metavar="JOB", type=click.Path(path_type=Path))


@click.command(
    short_help="Show a kept survey again.",
    epilog="Example: ribangle show wing.toml 3",
    context_settings={"ignore_unknown_options": True},
)
@_JOB
@click.argument("asked", metavar="[N] [STATION]", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="Print the kept survey as JSON, and nothing else.")
def show(job_file: Path, asked: tuple[str, ...], as_json: bool) -> int:
    """Work survey N of JOB out again from the record and show it, or one STATION of it. N is its number; last without.

    Counts from the end when negative: -2 is the last but one. Exit code: 0, or 1 where the record does not hold.
    """
    from rigging.record.chain import find_record

    which = next((a for a in asked if a.lstrip("-").isdecimal() or a.casefold() == "last"), None)
    stations = [a for a in asked if a is not which]
    record = find_record(job_file, which)
    say_first(record.standing)
    if as_json:
        click.echo(record.path.read_text("utf-8"), nl=False)
        return int(not record.standing.holds)
    from dataclasses import replace

    from rigging.record.since import since
    from rigging.survey.table import station_view, survey_view
    from shared.cautions import CAUTIONS

    survey = record.survey()
    survey = replace(survey, flags=(*survey.flags, *since(record, job_file)))
    click.echo(_head(record))
    click.echo()
    if stations:
        names = [s.station.name for s in survey.stations]
        for name in stations:
            console().print(station_view(survey, named_station(name, names)))
    else:
        console().print(survey_view(survey))
    click.echo()
    click.echo(CAUTIONS[0])
    return int(not record.standing.holds)


def say_first(standing: Standing) -> None:
    """What does not hold of a record, on stderr before anything of it is shown."""
    if not standing.holds:
        click.echo(f"ribangle: {standing.words}", err=True)


def _head(record: Record) -> str:
    note = f": {record.note}" if record.note else ""
    return f"Survey {record.number}, {_when(record)}, {len(record.readings)} photos{note}"


def _when(record: Record) -> str:
    return record.made.replace("T", " ")


@click.command(short_help="List the kept surveys.", epilog="Example: ribangle log wing.toml R5")
@_JOB
@click.argument("station", required=False)
def log(job_file: Path, station: str | None) -> int:
    """List the surveys that are kept of JOB, oldest first; with STATION what each said of it.

    Exit code: 0, or 1 where the record does not hold.
    """
    from rich.table import Table

    from rigging.record.chain import load_record, numbers, record_folder, standing_of
    from shared.errors import UserError
    from shared.job.file import load_job

    job = load_job(job_file)
    name = None if station is None else named_station(station, [s.name for s in job.stations])
    folder = record_folder(job_file)
    standing = standing_of(folder)
    say_first(standing)
    table = Table(header_style="bold", pad_edge=False)
    for head in ("survey", "made", "photos", "note", "verdict" if name is None else f"{name}: chord"):
        table.add_column(head, overflow="fold")
    for number, path in numbers(folder).items():
        try:
            record = load_record(path, standing)
        except UserError as error:
            table.add_row(str(number), "", "", "", str(error))
            continue
        told = str(record.result.get("verdict", "")) if name is None else _said_of(record, name)
        table.add_row(str(number), _when(record), str(len(record.readings)), record.note, told)
    if not table.row_count:
        if standing.holds:
            click.echo(f"No survey is kept in {folder} yet.")
        return int(not standing.holds)
    console().print(table)
    return int(not standing.holds)


def _said_of(record: Record, name: str) -> str:
    """What a kept survey said of one station's chord."""
    line = (record.result.get("lines", {}).get(name) or {}).get("chord")
    state = str(record.result.get("states", {}).get(name, "not in the job then"))
    if not line or line.get("value") is None:
        return state
    from shared.quantity import Component, K, Quantity
    from shared.rounding import degrees

    U = line.get("U")
    value = Quantity(line["value"], (Component("", "", float("nan") if U is None else U / K),))
    return f"{degrees(value)}, {state}"


@click.command(short_help="Check the record, its photos and verdicts.", epilog="Example: ribangle verify wing.toml")
@_JOB
@click.argument("number", required=False, type=click.IntRange(1))
def verify(job_file: Path, number: int | None) -> int:
    """Check every kept survey of JOB, or NUMBER alone.

    Finds a record that was changed, a survey that was taken out, a photo or profile that changed or is
    gone, and a verdict that does not follow from the readings kept with it. Exit code: 0 all stands, 1 not.
    """
    from rigging.record.chain import numbers, record_folder, standing_of
    from rigging.record.verify import verify as check
    from shared.errors import UserError

    known = numbers(record_folder(job_file))
    if (not known and standing_of(record_folder(job_file)).holds) or (number is not None and number not in known):
        raise UserError(
            str(record_folder(job_file)), "there is no such survey in the record", f"see ribangle log {job_file}"
        )
    troubles = check(job_file, number)
    for t in troubles:
        click.echo(f"survey {t.survey}: {t.thing}: {t.kind}: {t.text}")
    faults = sum(t.kind != "note" for t in troubles)
    count = 1 if number is not None else len(known)
    what = f"{count} survey{'' if count == 1 else 's'}"
    click.echo(
        f"{what} checked: {faults} fault{'' if faults == 1 else 's'}."
        if faults
        else f"{what} checked: record, photos, profiles and verdicts stand as they were kept."
    )
    return 1 if faults else 0


@click.command(
    short_help="Show where a station's uncertainty comes from.", epilog="Example: ribangle budget wing.toml R3"
)
@_JOB
@click.argument("station")
@click.option("--survey", "which", metavar="N", help="Which survey. [default: the last]")
@click.option("--line", type=click.Choice(["chord", "spar", "built-in"]), default="chord", show_default=True)
@click.option("--photos", is_flag=True, help="Every photo's own budget as well.")
@click.option("--picture", type=click.Path(path_type=Path), metavar="FILE", help="Draw it as bars: .svg, .pdf or .png.")
def budget(job_file: Path, station: str, which: str | None, line: str, photos: bool, picture: Path | None) -> None:
    """Show the parts of the uncertainty of STATION's angle, largest first."""
    from rigging.record.chain import find_record
    from rigging.survey.table import budget_table
    from shared.errors import UserError

    record = find_record(job_file, which)
    say_first(record.standing)
    survey = record.survey()
    station = named_station(station, [s.station.name for s in survey.stations])
    s = survey.station(station)
    result = {"chord": s.chord, "spar": s.spar, "built-in": s.built_in}[line]
    if result.quantity is None:
        raise UserError(f"station {station}", f"its {line} has no value: {result.reason}", "see ribangle show JOB")
    if picture is not None:
        from rigging.cli.pictures import write_picture
        from rigging.plots.budget import budget_plot

        plot = budget_plot(result.quantity.budget(), f"{station}: uncertainty of the {line}")
        if plot is not None:
            write_picture(plot, picture)
    out = console()
    out.print(budget_table(f"{station} {line}", result.quantity))
    if photos:
        for p in result.combined.photos:
            if p.quantity is not None:
                out.print(budget_table(f"{p.photo} ({p.standing}, weight {p.weight:.2f})", p.quantity))


def named_station(text: str, names: Sequence[str]) -> str:
    """The station that a person names: case, blanks and leading zeros may differ. Raises UserError with the nearest."""
    from difflib import get_close_matches

    from shared.errors import UserError
    from shared.gauge.words import station_of

    found, _ = station_of(text, names)
    if found is not None:
        return found
    near = get_close_matches(text.casefold(), {n.casefold(): n for n in names}, 1)
    hint = next((n for n in names if near and n.casefold() == near[0]), None)
    raise UserError(
        f"station {text}",
        "the job has no such station",
        f"did you mean {hint}?" if hint else f"give one of {', '.join(names)}",
    )


def console() -> Console:
    """A console as wide as the terminal, or as COLUMNS says; wide where neither tells."""
    import os

    from rich.console import Console

    out = Console(highlight=False, markup=False, emoji=False)
    known = out.is_terminal or os.environ.get("COLUMNS", "").isdecimal()
    return out if known else Console(width=160, highlight=False, markup=False, emoji=False)
