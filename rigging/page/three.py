"""The three things that the page shows of a station, and the one that is to be done now.

Said, shown and read aloud alike: the angle with its sign in words, the verdict, and one instruction. What else there
is stands behind them, in the order in which it could change the decision.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from rigging.page.refusals import Refused
from rigging.planning.advice import NEARER
from rigging.survey.corrections import Correction
from rigging.survey.instructions import instruction
from rigging.survey.model import StationResult, Survey
from shared.flags import FlagCode, in_doubt
from shared.quantity import Quantity
from shared.reading import Advice
from shared.rounding import number, places

Kind = Literal["photo", "doubt", "turn", "leave", "next", "done"]


@dataclass(frozen=True)
class Todo:
    """The one thing to do now. words : an instruction, one sentence. more : how exactly, or why."""

    kind: Kind
    words: str
    more: str = ""


def angle_words(q: Quantity | None) -> dict[str, str] | None:
    """An angle as it is said: size with its unit, sense in words, U. None for no angle."""
    if q is None:
        return None
    n = places(q.U)
    size = number(abs(q.value), n)
    sense = "level" if float(size) == 0 else "nose up" if q.value > 0 else "nose down"
    known = number(q.U, n)
    return {"size": f"{size}°", "sense": sense, "U": "± ?" if known == "?" else f"± {known}°"}


def doubts(s: StationResult) -> list[str]:
    """Why the angle must not be acted on; each once."""
    return list(dict.fromkeys(f.text for f in in_doubt(s.flags)))


def explained(s: StationResult) -> list[str]:
    """Disagreements whose cause is known."""
    return list(dict.fromkeys(f.text for f in s.flags if f.code is FlagCode.GAUGE_AT_FAULT))


def todo(
    s: StationResult, fixes: Sequence[Correction], moved: Sequence[str], refused: Refused | None, following: str | None
) -> Todo:
    """What to do now at a station.

    moved : stations whose jig was moved since they were photographed, as they are to be photographed again.
    refused : of the station's newest photo, where it has no value. following : the station to go to next.
    """
    name = s.station.name
    if refused is not None and s.chord.quantity is None:
        return Todo("photo", refused.cure, refused.why)
    if moved and s.chord.quantity is None:
        others = [n for n in moved if n != name]
        more = f"its jig was moved; so were {', '.join(others)}" if others else "its jig was moved"
        return Todo("photo", f"Photograph {name} again", more)
    if s.chord.quantity is None:
        return Todo("photo", f"Photograph {name}", s.chord.reason or "no photo yet")
    why = doubts(s)
    if why:
        gauge = all(f.code is FlagCode.GAUGE_DISAGREES for f in s.flags if f.text in why)
        first = "Read the inclinometer again before anything is turned" if gauge else "Photograph it again: a doubt"
        return Todo("doubt", first, why[0])
    needed = [c for c in fixes if c.needed]
    if needed:
        return _turn(needed)
    if s.state == "nonconforming":
        if s.rib_or_jig.cause == "rib":
            return Todo("leave", "Leave the screw: the rib sits wrong on its spar")
        cause = s.rib_or_jig.words if s.rib_or_jig.cause in ("both", "sum") else ""
        more = cause or next((c.words for c in fixes), "the job has no jig that turns this station")
        return Todo("leave", "Leave the screw: turning does not mend it", more)
    if s.state == "undecided":
        return _decide(s.chord.decision.advice if s.chord.decision is not None else ())
    if following is not None:
        return Todo("next", f"Leave it. Next: {following}")
    return Todo("done", "Leave it. Every station conforms")


def _decide(advice: Sequence[Advice]) -> Todo:
    """What would decide an undecided station."""
    if not advice:
        return Todo("photo", "Photograph it once more")
    if advice[0].text.endswith(NEARER):
        return Todo("turn", NEARER[0].upper() + NEARER[1:], advice[0].text.removesuffix(f": {NEARER}"))
    words, _, more = advice[0].text.partition(": ")
    return Todo("photo", f"To decide it: {words}", more)


def left_to_turn(survey: Survey) -> dict[str, str]:
    """What a builder who has just turned something wants to know of the rest. turn : one line of what is left to turn;
    wing : how many stations stand right."""
    screws = dict.fromkeys(" and ".join(c.stations) for c in survey.corrections if c.needed)
    ribs = [f"{s.station.name} afresh on its spar" for s in survey.stations if s.rib_or_jig.cause in ("rib", "both")]
    left = [*screws, *ribs]
    right = sum(s.state == "conforming" for s in survey.stations)
    return {
        "turn": f"Left to turn: {', '.join(left)}" if left else "Nothing is left to turn",
        "wing": f"{right} of {len(survey.stations)} stations conform",
    }


def _turn(needed: Sequence[Correction]) -> Todo:
    """The instruction of one jig, or of several at once."""
    first = needed[0]
    words, _, rest = instruction(first.jig, first.rounded).partition(" (")
    more = [rest.removesuffix(")")] if rest else []
    if len(needed) > 1:
        words = f"{words}, at {number(first.jig.at_span_mm or 0.0, 0)} mm"
        more += [c.words for c in needed[1:]]
    if len(first.stations) > 1:
        more.insert(0, f"one screw for {' and '.join(first.stations)}")
    return Todo("turn", words[0].upper() + words[1:], "; ".join(more))
