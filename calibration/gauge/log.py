"""The inclinometer's calibration log: a CSV of reversal pairs and known angles, and what each row says.

Columns: spot (a name; rows of one spot share its true angle), known (deg; empty where nobody knows it),
u_known (deg), bar and blocks (a sine bar's length and gauge-block height, one unit) instead of known,
reading, turned (read end for end on the same spot), approach (up or down: which side the angle was come
from), time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from shared.errors import UserError
from shared.gauge.angle_cell import angle
from shared.gauge.readings import Oddity
from shared.gauge.table import decode, table
from shared.gauge.words import is_nothing, plain, time_of

NAMES = {
    "spot": ("spot", "place", "surface", "where", "name"),
    "known": ("known", "true", "reference", "known angle", "nominal"),
    "u_known": ("u known", "known u", "u reference", "u"),
    "bar": ("bar", "sine bar", "bar length"),
    "blocks": ("blocks", "gauge blocks", "block height", "stack"),
    "reading": ("reading", "read", "shown", "angle", "value"),
    "turned": ("turned", "reversed", "end for end", "turned reading", "reversal"),
    "approach": ("approach", "from", "direction"),
    "time": ("time", "taken", "date"),
}
DEFAULT_U_KNOWN = 0.01
"""Standard uncertainty put to a known angle whose row states none, degrees (machinist's square, sine bar)."""


@dataclass(frozen=True)
class Spot:
    """One surface the gauge stood on. known_deg : its angle where known, with u_deg (NaN without)."""

    name: str
    known_deg: float | None
    u_deg: float


@dataclass(frozen=True)
class Observation:
    """One reading: index of its spot, facing +1 or (turned) -1, approach +1 up, -1 down, 0 unsaid."""

    spot: int
    facing: int
    approach: int
    shown_deg: float
    row: int


@dataclass(frozen=True)
class Log:
    """A calibration log. last : latest time in it, ISO 8601, or None."""

    spots: tuple[Spot, ...]
    observations: tuple[Observation, ...]
    oddities: tuple[Oddity, ...]
    last: str | None


def sine_bar_deg(bar: float, blocks: float) -> float:
    """Angle of a sine bar on gauge blocks, asin(blocks / bar) (geometry, as in any machinist's handbook)."""
    if not bar > 0 or not abs(blocks) < bar:
        raise ValueError("the blocks must be lower than the bar is long")
    return math.degrees(math.asin(blocks / bar))


def load_log(path: Path) -> Log:
    """Read a log. Raises UserError where the file, its head or all of its rows cannot be used."""
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise UserError(str(path), f"cannot be read ({error.strerror})", "give the path of a CSV file") from None
    return parse_log(decode(raw, str(path)), str(path))


def parse_log(text: str, source: str = "log") -> Log:
    """The log in a CSV's text."""
    cut = table(text)
    rows = cut.rows
    head = [_field(c) for c in rows[0][1]] if rows else []
    if "reading" not in head or not {"turned", "known", "blocks"} & set(head):
        raise UserError(
            source,
            "its first line must name the column reading, and turned or known (or bar and blocks)",
            "see docs/inclinometer.md for an example",
        )
    odd = [*cut.oddities]
    odd += [Oddity(rows[0][0], f'column "{c}" not used', False)
           for c, f in zip(rows[0][1], head, strict=True) if f is None and c]  # fmt: skip
    spots: dict[str, Spot] = {}
    observations: list[Observation] = []
    times: list[str] = []
    for number, cells in rows[1:]:
        cell = {f: c for f, c in zip(head, cells, strict=False) if f is not None}
        try:
            spot = _spot(cell, number)
            found = _observed(cell, _placed({**spots}, spot), number)
            _placed(spots, spot)
        except ValueError as error:
            odd.append(Oddity(number, f"{error}: not used", False))
            continue
        observations.extend(found)
        taken, said = time_of("", cell.get("time", ""))
        if taken and "T" in taken:
            times.append(taken)
        if said:
            odd.append(Oddity(number, said, True))
    if not observations:
        raise UserError(source, "no usable reading in it", "; ".join(o.text for o in odd[:3]) or "add rows")
    return Log(tuple(spots.values()), tuple(observations), tuple(odd), max(times, default=None))


def _field(name: str) -> str | None:
    words = plain(name.replace("_", " "))
    for unit in (" deg", " mm", " in"):
        words = words.removesuffix(unit)
    return next((f for f, names in NAMES.items() if words in names), None)


def _number(cell: dict[str, str], field: str) -> float | None:
    text = cell.get(field, "")
    if is_nothing(text):
        return None
    found = angle(text)
    if found is None or found.said is not None:
        raise ValueError(f'{field} "{text}" is not a number')
    return found.degrees


def _spot(cell: dict[str, str], number: int) -> Spot:
    known, bar, blocks = (_number(cell, f) for f in ("known", "bar", "blocks"))
    if blocks is not None:
        if bar is None:
            raise ValueError("blocks without the bar's length")
        if known is not None:
            raise ValueError("known and blocks both given")
        known = sine_bar_deg(bar, blocks)
    u = _number(cell, "u_known")
    if u is not None and u < 0:
        raise ValueError("a standard uncertainty is not negative")
    name = cell.get("spot", "") or (f"{known:.4f} deg" if known is not None else f"row {number}")
    return Spot(name, known, math.nan if known is None else DEFAULT_U_KNOWN if u is None else u)


def _placed(spots: dict[str, Spot], spot: Spot) -> int:
    """Index of the spot, which is new or must not change its known angle."""
    before = spots.setdefault(spot.name, spot)
    if before.known_deg is None and spot.known_deg is not None:
        spots[spot.name] = spot
    elif spot.known_deg is not None and before.known_deg is not None and spot.known_deg != before.known_deg:
        raise ValueError(f"spot {spot.name} has two known angles, {before.known_deg:g} and {spot.known_deg:g}")
    return list(spots).index(spot.name)


def _observed(cell: dict[str, str], place: int, number: int) -> list[Observation]:
    text = plain(cell.get("approach", ""))
    approach = {
        "up": 1,
        "from below": 1,
        "rising": 1,
        "down": -1,
        "from above": -1,
        "falling": -1,
        "": 0,
    }.get(text)
    if approach is None:
        raise ValueError(f'approach "{text}" is neither up nor down')
    found = []
    for field, facing in (("reading", 1), ("turned", -1)):
        shown = _number(cell, field)
        if shown is not None:
            found.append(Observation(place, facing, approach * facing, shown, number))
    if not found:
        raise ValueError("no reading")
    return found
