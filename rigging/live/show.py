"""A live run on the terminal: figures large enough to be read from across the bench, and one line a photo elsewhere."""

from __future__ import annotations

from rigging.live.cure_watch import Alarm
from rigging.live.setting import Moment
from shared.quantity import Quantity
from shared.rounding import degrees, number, places

_ROWS = {
    "0": ("███", "█ █", "█ █", "█ █", "███"), "1": ("  █", "  █", "  █", "  █", "  █"),
    "2": ("███", "  █", "███", "█  ", "███"), "3": ("███", "  █", "███", "  █", "███"),
    "4": ("█ █", "█ █", "███", "  █", "  █"), "5": ("███", "█  ", "███", "  █", "███"),
    "6": ("███", "█  ", "███", "█ █", "███"), "7": ("███", "  █", "  █", "  █", "  █"),
    "8": ("███", "█ █", "███", "█ █", "███"), "9": ("███", "█ █", "███", "  █", "███"),
    "+": ("   ", " █ ", "███", " █ ", "   "), "\N{MINUS SIGN}": ("   ", "   ", "███", "   ", "   "),
    ".": (" ", " ", " ", " ", "█"), "°": ("██", "██", "  ", "  ", "  "), "?": ("███", "  █", " ██", "   ", " █ "),
}  # fmt: skip


def big(text: str) -> str:
    """A number in letters five rows high; every stroke twice as wide, as a terminal's cells are twice as high."""
    rows = []
    for k in range(5):
        rows.append("  ".join("".join(c * 2 for c in _ROWS.get(letter, _ROWS["?"])[k]) for letter in text).rstrip())
    return "\n".join(rows)


def shown_angle(angle: Quantity) -> str:
    """The value alone, to the place of its U's second digit but never finer than 0.001."""
    return f"{number(angle.value, min(places(angle.U), 3), sign=True)}°"


def panel(moment: Moment, station: str, design: str) -> str:
    """All that the terminal shows of one photo."""
    lines = [f"{station}   {moment.at:%H:%M:%S}   photo {moment.number} ({moment.name})", ""]
    if moment.angle is None:
        lines += [_headline(moment), ""]
        return "\n".join(lines)
    lines += [
        big(shown_angle(moment.angle)),
        "",
        f"chord {degrees(moment.angle, sign=True)} (k = 2), design {design}, "
        f"off by {degrees(moment.deviation, sign=True) if moment.deviation is not None else '?'}",
    ]
    turn = None if moment.change is None else moment.change.turn
    lines.append(
        f"since {moment.since}: {degrees(turn, sign=True)}"
        if turn is not None
        else f"{moment.name} is the first photo: changes are counted from it"
    )
    lines += [f"{station}: {moment.standing}", moment.turn]
    if moment.reason:
        lines.append(_headline(moment))
    lines += [f"DOUBT: {d}" for d in moment.doubts]
    return "\n".join(lines)


def line(moment: Moment) -> str:
    """One photo in one line."""
    turn = None if moment.change is None else moment.change.turn
    head = f"{moment.at:%H:%M:%S} {moment.name}: "
    if moment.angle is None:
        return head + _headline(moment)
    parts = [f"chord {degrees(moment.angle, sign=True)}"]
    if turn is not None:
        parts.append(f"change {degrees(turn, sign=True)}")
    if moment.reason:
        parts.append(_headline(moment))
    parts += [moment.standing, moment.turn, *(f"DOUBT: {d}" for d in moment.doubts)]
    return head + "; ".join(parts)


def _headline(moment: Moment) -> str:
    return {
        "camera moved": f"CAMERA MOVED: {moment.reason}; begun anew"
        + (" with this photo" if moment.angle else " with the next one"),
        "waiting": f"no start yet: {moment.reason}",
        "missing": moment.reason,
    }.get(moment.state, f"not told: {moment.reason}")


def warning(alarm: Alarm) -> str:
    """An alarm, with the terminal's bell."""
    return f"\a*** {alarm.words} ***"
