"""`ribangle gauge`: the inclinometer's readings, typed or read from its display, and how they compare."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rigging.cli.gathered import gathered

if TYPE_CHECKING:
    from rigging.crosscheck.types import CrossCheck
    from shared.gauge.angle_cell import AngleCell
    from shared.gauge.readings import Line
    from shared.job.model import Job
    from shared.numerics.arrays import F64
    from vision.display.tag import TaughtDisplay
    from vision.display.types import DisplayReading
    from vision.image.photo import Picture

PATH = click.Path(path_type=Path)
SIGNED = {"ignore_unknown_options": True}
JOB = click.option("--job", "job_file", type=PATH, metavar="FILE",
                   help="The job. [default: the one .toml file in this folder]")  # fmt: skip
LINE = click.option("--line", type=click.Choice(["chord", "spar"]), default="chord", show_default=True,
                    help="The line that was read.")  # fmt: skip
CORNERS = click.option("--corners", metavar="X,Y,X,Y,X,Y,X,Y",
                       help="The display's corners in the photo, pixels: the digits' upper left first, clockwise.")  # fmt: skip


@click.group(
    short_help="Inclinometer readings: type, read from a photo, check.",
    epilog="Examples: ribangle gauge add R3 -0.4; ribangle gauge read gauge.jpg; ribangle gauge check wing.toml",
)
def gauge() -> None:
    """The inclinometer beside the camera: its readings, and whether the two agree."""


@gauge.command(context_settings=SIGNED, short_help="Write down one reading.",
               epilog='Example: ribangle gauge add R3 "0.4 nose down" --line chord')  # fmt: skip
@click.argument("station")
@click.argument("value")
@LINE
@JOB
@click.option("--file", "csv", type=PATH, help="The readings file. [default: the job's, else gauge.csv beside it]")
@click.option("--yes", is_flag=True, help="Write it down whatever it is, without asking.")
def add(station: str, value: str, line: Line, job_file: Path | None, csv: Path | None, yes: bool) -> None:
    """Add VALUE, as the gauge shows it, for STATION to the readings file, with the time.

    Asks first where the number looks like a slip: a lost decimal point, the other line's angle.
    """
    from shared.errors import UserError
    from shared.gauge.angle_cell import angle

    job = _job(job_file)
    found = angle(value)
    if found is None or not -180 <= found.degrees <= 360:
        raise UserError(f'reading "{value}"', "is not an angle in degrees", 'write it as -0.4 or "0.4 nose down"')
    name = _station(job, station)
    if not yes:
        _ask_of_a_slip(job, name, line, found)
    path = _append(job, name, line, value, csv)
    said = f" ({found.odd})" if found.odd else ""
    click.echo(f"{name} {line} {found.degrees:g} deg{said}: added to {path}")


@dataclass(frozen=True)
class GaugeReadOptions:
    """What the command is asked: its arguments and options."""

    photo: Path
    corners: str | None
    display: Path
    upright: bool
    decimals: int | None
    station: str | None
    line: str
    job_file: Path | None
    picture: Path | None


@gauge.command(short_help="Read the display in a photo.",
               epilog="Example: ribangle gauge read gauge.jpg --corners 410,220,980,235,975,470,402,452")  # fmt: skip
@click.argument("photo", type=PATH)
@CORNERS
@click.option("--display", type=PATH, default=Path("gauge-display.json"), show_default=True,
              help="What `gauge teach` wrote; used when the photo shows its tag.")  # fmt: skip
@click.option("--upright", is_flag=True, help="A crop stands as its digits read.")
@click.option("--decimals", type=click.IntRange(0, 3), help="Digits after the point that this gauge always shows.")
@click.option("--station", help="Write the reading down for this station.")
@LINE
@JOB
@click.option("--picture", type=PATH, help="Draw what was read: a .png file.")
@gathered(GaugeReadOptions)
def read(asked: GaugeReadOptions) -> int:
    """Read the seven-segment display in PHOTO: by its tag, by its corners, or in a crop of the display.

    A doubtful digit, point or minus gives no value, and the reason. Look at the gauge all the same.

    Exit code: 0 read, 1 no value, 2 bad input.
    """
    decimals = asked.decimals
    job = _job(asked.job_file) if asked.station else None
    name = _station(job, asked.station) if job and asked.station else None
    image = _open(asked.photo)
    quad, taught = _place(image, asked.corners, asked.display)
    if taught is not None and decimals is None:
        decimals = taught.decimals
    result = _read(image, quad, asked.upright, decimals)
    if asked.picture is not None:
        _draw(image, result, quad, asked.picture)
    _tell(result, asked.photo, taught)
    if not result:
        return 1
    if job is not None and name is not None and result.text is not None:
        click.echo(
            f"{name} {asked.line}: added to {_append(job, name, asked.line, result.text, None, image.exif.taken)}"
        )
    return 0


@gauge.command(
    short_help="Show once where the display sits beside its tag.",
    epilog="Example: ribangle gauge teach gauge.jpg --corners 410,220,980,235,975,470,402,452",
)
@click.argument("photo", type=PATH)
@CORNERS
@click.option("--decimals", type=click.IntRange(0, 3), help="Digits after the point that this gauge always shows.")
@click.option("--out", type=PATH, default=Path("gauge-display.json"), show_default=True, help="File to write.")
def teach(photo: Path, corners: str | None, decimals: int | None, out: Path) -> None:
    """Learn from PHOTO, which shows the tag, where the display's corners are; after that the tag is enough."""
    from shared.errors import UserError
    from vision.display.tag import save_display
    from vision.display.tag import teach as learn

    if corners is None:
        raise UserError("gauge teach", "needs the display's corners", "give --corners")
    if not out.parent.is_dir():
        raise UserError(str(out.parent), "there is no such folder", "make it first")
    image = _open(photo)
    quad = _corners(corners, image)
    taught = learn(image.gray, quad, decimals)
    save_display(out, taught)
    click.echo(f"tag {taught.tag}: wrote {out}")
    _tell(_read(image, quad, True, decimals), photo, taught)


@gauge.command(short_help="Print the tag for the gauge.",
               epilog="Example: ribangle gauge tag --out tag.png")  # fmt: skip
@click.option("--id", "ident", type=click.IntRange(992, 999), default=992, show_default=True, help="Tag number.")
@click.option("--out", type=PATH, default=Path("gauge-tag.png"), show_default=True, help="File to write.")
def tag(ident: int, out: Path) -> None:
    """Write the tag as a PNG that prints at its size; the black square must measure 20 mm."""
    import io

    from PIL import Image

    from shared.errors import UserError
    from shared.files import write_whole
    from vision.display.tag import TAG_MM, tag_picture

    if not out.parent.is_dir():
        raise UserError(str(out.parent), "there is no such folder", "make it first")
    pixels = tag_picture(ident)
    dpi = (pixels.shape[0] * 7 / 9) / (TAG_MM / 25.4)
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "PNG", dpi=(dpi, dpi))
    write_whole(out, stream.getvalue())
    click.echo(f"wrote {out}: print at 100 %, black square 20 mm, stick it flat beside the display, white rim kept")


@gauge.command(context_settings=SIGNED, short_help="Compare with a kept survey.",
               epilog="Example: ribangle gauge check wing.toml last --picture agreement.png")  # fmt: skip
@click.argument("job_file", metavar="JOB", type=PATH)
@click.argument("survey", required=False)
@click.option("--picture", type=PATH, help="Draw difference against mean: a .png, .svg or .pdf file.")
def check(job_file: Path, survey: str | None, picture: Path | None) -> int:
    """Compare the gauge's readings of JOB, as they are now, with SURVEY (a number or last).

    Exit code: 0 the two agree, 1 they do not, or a fault is suspected.
    """
    from rigging.cli.pictures import check_picture
    from shared.cautions import CAUTIONS

    if picture is not None:
        check_picture(picture)
    result = _compared(job_file, survey)
    _show(result)
    if picture is not None:
        _plot(result, picture)
    click.echo(CAUTIONS[0])
    return 1 if result.diagnosis.alarm or result.disagreeing else 0


def _ask_of_a_slip(job: Job, name: str, line: Line, found: AngleCell) -> None:
    """Ask whether a reading far from the design is meant; without anybody to ask, say how to insist."""
    from rigging.survey.gauge_rows import slip
    from shared.errors import UserError

    rule = slip(job, name, line, found.degrees, found.said)
    if rule is None:
        return
    asked = sys.stdin.isatty() and click.confirm(f"{name} {line}: {rule}. Write it down all the same?")
    if not asked:
        raise UserError(f"{name} {line}", rule, "nothing was written; look at the gauge again, or add --yes")


def _job(job_file: Path | None) -> Job:
    from shared.errors import UserError
    from shared.job.file import load_job

    if job_file is None:
        here = sorted(p for p in Path().glob("*.toml") if p.name != "pyproject.toml")
        if len(here) != 1:
            raise UserError("this folder", f"holds {len(here) or 'no'} job files", "name the job with --job")
        job_file = here[0]
    return load_job(job_file)


def _station(job: Job, name: str) -> str:
    from shared.errors import UserError
    from shared.gauge.words import station_of

    names = [s.name for s in job.stations]
    found, _ = station_of(name, names)
    if found is None:
        raise UserError(f'station "{name}"', "is not in the job", f"its stations are {', '.join(names)}")
    return found


def _append(job: Job, station: str, line: str, shown: str, csv: Path | None, taken: str | None = None) -> Path:
    from datetime import datetime

    from shared.gauge.append import append_reading

    path = csv or job.folder / (job.gauge.readings or "gauge.csv")
    when = taken or datetime.now().isoformat(timespec="seconds")
    append_reading(path, station, line, shown, when)  # type: ignore[arg-type]
    if csv is None and job.gauge.readings is None:
        click.echo(f'the job names no readings file: put readings = "{path.name}" under [gauge]')
    return path


def _open(photo: Path) -> Picture:
    from shared.errors import UserError
    from vision.image.photo import open_photo
    from vision.image.photo_file import PhotoError

    try:
        return open_photo(photo)
    except PhotoError as error:
        raise UserError(f"photo {photo}", error.reason, "give a whole photo of the gauge") from None


def _corners(text: str, image: Picture) -> F64:
    import numpy as np

    from shared.errors import UserError

    try:
        quad = np.array([float(v) for v in text.replace(" ", ",").split(",") if v]).reshape(4, 2)
    except ValueError:
        raise UserError(f"--corners {text}", "must be four points", "write x,y,x,y,x,y,x,y in pixels") from None
    inside = (quad > -1).all() and (quad[:, 0] < image.width + 1).all() and (quad[:, 1] < image.height + 1).all()
    edges = np.roll(quad, -1, axis=0) - quad
    after = np.roll(edges, -1, axis=0)
    turns = edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0]
    if not inside or (turns <= 0).any():
        raise UserError(f"--corners {text}", "must go clockwise round the display, inside the photo",
                        "start at the digits' upper left")  # fmt: skip
    return quad


def _place(image: Picture, corners: str | None,
           display: Path) -> tuple[F64 | None, TaughtDisplay | None]:  # fmt: skip
    """The display's corners: as given, or by the taught tag; none for a crop."""
    from shared.errors import UserError
    from vision.display.tag import display_corners, find_tags, load_display

    if corners is not None:
        return _corners(corners, image), None
    tags = find_tags(image.gray)
    if display.exists():
        taught = load_display(display)
        if taught.tag in tags:
            return display_corners(tags[taught.tag], taught), taught
    if tags:
        known = f"{display} does not know it" if display.exists() else f"there is no {display}"
        raise UserError(f"photo {image.name}", f"shows gauge tag {min(tags)}, but {known}",
                        "teach it once with `ribangle gauge teach`, or give --corners")  # fmt: skip
    return None, None


def _read(image: Picture, quad: F64 | None, upright: bool, decimals: int | None) -> DisplayReading:
    from vision.display.read import read_display

    return read_display(image.gray, quad, upright=upright, decimals=decimals)


def _tell(result: DisplayReading, photo: Path, taught: TaughtDisplay | None) -> None:
    how = f" (by tag {taught.tag})" if taught is not None else ""
    if not result:
        click.echo(f"{photo.name}: no value: {result.reason}{how}")
        return
    click.echo(f"{photo.name}: {result.text} deg, confidence {result.confidence:.2f}{how}")
    click.echo("  digits: " + ", ".join(f"{d.char} {d.confidence:.2f}" for d in result.digits))
    for flag in result.flags:
        click.echo(f"  ! {flag.text}")


def _draw(image: Picture, result: DisplayReading, quad: F64 | None, path: Path) -> None:
    """The display with each digit's outline and what it was read as."""
    import cv2
    import numpy as np

    from shared.errors import UserError
    from shared.files import write_whole

    if path.suffix.lower() != ".png" or not path.parent.is_dir():
        raise UserError(str(path), "must be a .png file in a folder that exists", "name another")
    canvas = cv2.cvtColor(np.asarray(image.gray), cv2.COLOR_GRAY2BGR)
    thick = max(round(max(canvas.shape[:2]) / 600), 1)
    if quad is not None:
        cv2.polylines(canvas, [np.round(quad).astype(np.int32)], True, (0, 160, 255), thick)
    for d in result.digits:
        outline = np.round(np.array(d.outline)).astype(np.int32)
        colour = (60, 170, 60) if d.char != "?" and d.confidence >= 0.3 else (40, 40, 220)
        cv2.polylines(canvas, [outline], True, colour, thick)
        cv2.putText(canvas, d.char, (int(outline[3][0]), int(outline[3][1] + 14 * thick)), cv2.FONT_HERSHEY_SIMPLEX,
                    0.5 * thick, colour, thick)  # fmt: skip
    _, code = cv2.imencode(".png", canvas)
    write_whole(path, code.tobytes())


def _compared(job_file: Path, which: str | None) -> CrossCheck:
    from datetime import datetime

    from calibration.gauge.file import load_gauge
    from rigging.cli.show import say_first
    from rigging.crosscheck.check import crosscheck
    from rigging.record.chain import find_record
    from shared.errors import UserError
    from shared.gauge.csv_file import load_gauge_readings
    from shared.job.file import load_job

    job = load_job(job_file)
    if job.gauge.readings is None:
        raise UserError(str(job_file), "names no gauge readings", 'put readings = "gauge.csv" under [gauge]')
    record = find_record(job_file, which)
    say_first(record.standing)
    survey = record.survey()
    camera = {(s.station.name, line.line): line.combined.quantity for s in survey.stations
              for line in (s.chord, s.spar) if line.combined.quantity is not None and not line.combined.doubtful}  # fmt: skip
    readings = load_gauge_readings(job.folder / job.gauge.readings, [s.name for s in job.stations], job.gauge_lines)
    profile = load_gauge(job.folder / job.gauge.profile) if job.gauge.profile else None
    now = datetime.now().isoformat(timespec="seconds")
    return crosscheck(camera, readings, job.gauge, job.stations, profile, now)  # type: ignore[arg-type]


def _show(result: CrossCheck) -> None:
    from rich.table import Table

    from rigging.cli.show import console

    table = Table(title="Camera and inclinometer, degrees", title_justify="left")
    for head in ("station", "line", "camera", "gauge", "camera - gauge", "U", "En", ""):
        table.add_column(head, justify="left" if head in ("station", "line", "") else "right")
    for p in result.pairs:
        table.add_row(p.station, p.line, f"{p.camera.value:.2f}", f"{p.gauge.value:.2f}", f"{p.difference.value:+.2f}",
                      f"{p.difference.U:.2f}", f"{p.en:+.2f}", "" if p.agrees else "disagree")  # fmt: skip
    out = console()
    out.print(table)
    a = result.agreement
    if a is not None:
        click.echo(f"bias {a.bias.value:+.2f} ({a.bias.low:+.2f} to {a.bias.high:+.2f}), limits of agreement "
                   f"{a.lower.value:+.2f} ({a.lower.low:+.2f} to {a.lower.high:+.2f}) and {a.upper.value:+.2f} "
                   f"({a.upper.low:+.2f} to {a.upper.high:+.2f}) deg, n = {a.n}")  # fmt: skip
    d = result.diagnosis
    click.echo(f"Diagnosis: {d.verdict.text if d.verdict else 'none: ' + str(d.why_silent)}")
    for text in (*d.evidence, *(f"Do: {t}" for t in d.advice)):
        click.echo(f"  {text}")
    for o in result.oddities:
        click.echo(f"  row {o.row}: {o.text}")
    for f in result.flags:
        click.echo(f"  ! {f.text}")


def _plot(result: CrossCheck, path: Path) -> None:
    from rigging.plots.crosscheck import agreement_plot
    from shared.errors import UserError
    from shared.files import write_whole

    plot = agreement_plot(result)
    if plot is None:
        raise UserError(str(path), "there is nothing to draw", "no line was read by both")
    kind = path.suffix.lower()
    write_whole(path, plot.png() if kind == ".png" else plot.pdf() if kind == ".pdf" else plot.svg())
