"""`ribangle report`: a survey as a report to read, print, sign and keep."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rigging.record.chain import Record
    from rigging.report.as_pdf import Paper
    from rigging.survey.model import Survey
    from shared.reading import Reading


@click.command(
    short_help="Write the report of a survey: HTML, PDF, CSV, JSON.",
    epilog="Example: ribangle report wing.toml --pdf --paper letter",
)
@click.argument("job_file", metavar="JOB", type=click.Path(path_type=Path))
@click.option(
    "--survey",
    "which",
    metavar="N",
    help="Which kept survey: its number, last, or -2 for the one before. [default: the last]",
)
@click.option(
    "--readings",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Where ribangle measure wrote its results. [default: NAME-readings beside NAME.toml]",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Where the report goes. [default: NAME-report beside NAME.toml]",
)
@click.option("--pdf", is_flag=True, help="Write a PDF as well.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="The PDF's paper.")
def report(job_file: Path, which: str | None, readings: Path | None, out: Path | None, pdf: bool, paper: str) -> None:
    """Write the report of a survey of the wing that JOB describes.

    One HTML file with everything in it, stations.csv for a spreadsheet, survey.json for machines, and a
    PDF on request. Without a kept survey, what ribangle measure last read is evaluated and reported.
    """
    from shared.job.file import load_job

    load_job(job_file)  # a mistake in it is reported before anything heavy is loaded

    from rigging.batch.overlays import overlays_of
    from rigging.report import write_report

    measured = (readings or job_file.parent / f"{job_file.stem}-readings") / "readings.json"
    survey, told_of = _survey(job_file, which, measured, prefer_readings=readings is not None)
    overlays = overlays_of(measured, told_of)
    folder = out or job_file.parent / f"{job_file.stem}-report"
    sheet: Paper | None = None
    if pdf:
        sheet = "letter" if paper == "letter" else "a4"
    files = write_report(survey, folder, overlays, sheet)
    left_out = len(overlays_of(measured)) - len(overlays)
    if left_out:
        click.echo(
            f"ribangle: annotated pictures left out: {left_out}, of photos that were measured again "
            "since or belong to another survey",
            err=True,
        )
    click.echo(survey.verdict)
    click.echo(f"Written: {files[0]}, {', '.join(f.name for f in files[1:])}.")


def _survey(
    job_file: Path, which: str | None, measured: Path, *, prefer_readings: bool
) -> tuple[Survey, Sequence[Reading]]:
    """The kept survey asked for and its readings; failing any, one of the readings measured last."""
    from rigging.cli.show import say_first
    from rigging.record.chain import find_record, numbers, record_folder

    if which is not None or (numbers(record_folder(job_file)) and not prefer_readings):
        record = find_record(job_file, which)
        say_first(record.standing)
        return _as_recorded(record, job_file), record.readings
    if not measured.is_file():
        from shared.errors import UserError

        raise UserError(
            job_file.name,
            "nothing was measured for this job yet",
            f"measure its photos first: ribangle measure {job_file.name} PHOTOS",
        )
    from rigging.batch.readings_file import load_readings
    from rigging.record.since import refuse_unfit
    from shared.job.file import load_job

    refuse_unfit(measured, load_job(job_file), job_file.name)
    readings = load_readings(measured)
    return _evaluated(job_file, readings), readings


def _evaluated(job_file: Path, readings: Sequence[Reading]) -> Survey:
    from datetime import datetime

    from calibration.gauge.file import load_gauge
    from rigging.record.materials import Asked, evaluated, gather
    from shared.job.file import load_job

    profile = load_job(job_file).gauge.profile
    gauge = None if profile is None else load_gauge(job_file.parent / profile)
    now = datetime.now().replace(microsecond=0).isoformat()
    return evaluated(gather(job_file, (), (), Asked(now), gauge), readings, job_file.parent)


def _as_recorded(record: Record, job_file: Path) -> Survey:
    """The survey worked out again; flagged with what was changed since, and where its verdict is another now."""
    from dataclasses import replace

    from rigging.record.since import since
    from shared.flags import FlagCode

    survey = record.survey()
    told = str(record.result.get("verdict", ""))
    flags = since(record, job_file)
    if told != survey.verdict and record.standing.holds:  # else the verdict says that first
        text = (
            f"kept survey {record.number}, made by version {record.version}, said: {told} This version works "
            "out the verdict above from the same readings."
        )
        flags = (*(f for f in flags if f.code is not FlagCode.TOOL_CHANGED), FlagCode.VERDICT_CHANGED.flag(text))
    for flag in flags:
        click.echo(f"ribangle: {flag.text}", err=True)
    return replace(survey, flags=(*survey.flags, *flags))
