"""The inclinometer seen in a rib photo: its display read by the taught tag, and written down for that station.

Both witnesses then come from one photo, though each is read by itself. A reading typed in is never overwritten:
where the display says otherwise, that is told, and the file stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from shared.errors import UserError
from shared.gauge.readings import Line
from shared.job.model import Job
from shared.numerics.arrays import U8
from vision.display.tag import TaughtDisplay, display_corners, find_tags, load_display
from vision.display.types import DisplayReading

TAUGHT = "gauge-display.json"
"""What `ribangle gauge teach` writes, looked for beside the job file."""


@dataclass(frozen=True)
class DisplaySeen:
    """A gauge's display in a rib photo.

    text, value : as shown, or None and why not. line : the line that such a value belongs to: a chord is within
    45 degrees of level, a spar line within 45 of plumb. taken : ISO 8601, or None. likely : what it may show, likeliest
    first, (text, probability), also where no value is given: for a person to confirm.
    """

    photo: str
    station: str | None
    line: Line | None
    text: str | None
    value: float | None
    reason: str | None
    taken: str | None = None
    likely: tuple[tuple[str, float], ...] = ()


def taught_display(job: Job) -> TaughtDisplay | None:
    """The display taught for this job's gauge; None where none was. Raises UserError for a damaged file."""
    path = job.folder / TAUGHT
    return load_display(path) if path.is_file() else None


def read_by_tag(gray: U8, taught: TaughtDisplay) -> DisplayReading | None:
    """What the taught display shows in a grey picture; None where its tag is not in it."""
    from vision.display.read import read_display

    tag = find_tags(gray).get(taught.tag)
    if tag is None:
        return None
    return read_display(gray, display_corners(tag, taught), decimals=taught.decimals)


def line_of(shown: float) -> Line:
    """Which line a shown angle belongs to."""
    return "chord" if abs(shown) <= 45 or abs(shown) >= 135 else "spar"


def display_in(path: Path, name: str, stations: Mapping[str, str | None], taught: TaughtDisplay) -> DisplaySeen | None:
    """The display in one photo; None where the tag is not in it or the photo cannot be opened.

    stations : SHA-256 of a photo -> its station.
    """
    from vision.image.photo import open_photo
    from vision.image.photo_file import PhotoError

    try:
        picture = open_photo(path)
    except PhotoError:
        return None
    found = read_by_tag(picture.gray, taught)
    if found is None:
        return None
    taken, station = picture.exif.taken, stations.get(picture.sha256)
    if found.value is None or found.text is None:
        return DisplaySeen(name, station, None, None, None, found.reason, taken, found.likely)
    return DisplaySeen(name, station, line_of(found.value), found.text, found.value, None, taken, found.likely)


def write_down(job: Job, seen: Iterable[DisplaySeen]) -> list[str]:
    """Add what displays showed to the job's gauge readings; one sentence for each. Raises UserError.

    A reading of the same station and line that stands in the file already is kept: it is said whether it agrees.
    """
    from shared.gauge.append import append_reading

    path = job.folder / (job.gauge.readings or "gauge.csv")
    known = _written(job, path)
    said = []
    for one in seen:
        if one.value is None or one.text is None or one.line is None:
            said.append(f"{one.photo}: the gauge's display gives no value: {one.reason}")
            continue
        if one.station is None:
            said.append(
                f"{one.photo}: the gauge shows {one.text}, but no station is known for the photo: not written down"
            )
            continue
        key = (one.station, one.line)
        if key in known:
            here = f"{one.photo}: {one.station} {one.line}: the display shows {one.text}"
            if abs(known[key] - one.value) < 1e-6:
                said.append(f"{here}, as written down")
            else:
                said.append(f"{here}, but {known[key]:g} is written in {path.name}; the file is kept: look at the "
                            "gauge and put right what is wrong")  # fmt: skip
            continue
        append_reading(path, one.station, one.line, one.text, one.taken or "")
        known[key] = one.value
        said.append(f"{one.photo}: {one.station} {one.line}: the display shows {one.text}: written to {path.name}")
    if said and job.gauge.readings is None and path.is_file():
        said.append(f'the job names no readings file: put readings = "{path.name}" under [gauge]')
    return said


def _written(job: Job, path: Path) -> dict[tuple[str, Line], float]:
    """Readings that stand in the file, by station and line; of several, the last."""
    from shared.gauge.csv_file import load_gauge_readings

    if not path.is_file():
        return {}
    found = load_gauge_readings(path, [s.name for s in job.stations], job.gauge_lines)
    if any(not o.used for o in found.oddities):
        rows = ", ".join(str(o.row) for o in found.oddities if not o.used)
        raise UserError(str(path), f"has rows that cannot be used (row {rows}), so nothing is added from photos",
                        "put them right first")  # fmt: skip
    return {(r.station, r.line): r.shown_deg for r in found.readings}
