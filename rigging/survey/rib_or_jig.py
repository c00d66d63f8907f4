"""Is it the rib or the jig? Chord deviation split into lean of the spar line and built-in angle.

chord deviation = deviation of the spar line's lean (jig, spar or fitting) + deviation of the built-in
angle (rib); both are differences of angles read in the same photos, so what these share cancels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from rigging.survey.causes import Cause, cause_of
from rigging.survey.decision import Decision, decide
from shared.job.model import Station
from shared.quantity import Quantity
from shared.rounding import degrees, number, places


@dataclass(frozen=True)
class RibOrJig:
    """A station's chord deviation in its two parts, degrees, nose-up positive.

    jig : deviation of the spar line's lean from design; rib : deviation of the built-in angle from
    design; the two add up to the chord's deviation. cause : "neither" is shown wrong and the chord is
    right; "sum" when each part is within its own tolerance but together they are not; "untold" when the
    uncertainty, or a missing spar line, leaves it open. by_pair : the words are those of a pair of lines that the job names
    there (`rigging.survey.two_lines`), in place of a spar line. before_glue, after_glue : what it means for the
    builder, in words.
    """

    cause: Cause
    jig: Quantity | None
    rib: Quantity | None
    jig_decision: Decision | None
    rib_decision: Decision | None
    words: str
    before_glue: str
    after_glue: str
    by_pair: bool = False


def built_in_design(station: Station) -> float | None:
    """Design built-in angle, degrees: design chord angle minus design lean; None without a spar line."""
    return None if station.spar_deg is None else station.chord_deg - (station.spar_deg - 90.0)


def built_in_tolerance(station: Station) -> float:
    """The built-in angle's own tolerance, or the chord's."""
    return station.built_in_tolerance_deg or station.chord_tolerance_deg


def split(
    station: Station,
    chord: Quantity | None,
    spar: Quantity | None,
    built_in: Quantity | None,
    chord_decision: Decision | None,
    doubt: str | None = None,
) -> RibOrJig:
    """The two parts and what they mean. chord, spar, built_in : deviations from design, degrees.

    doubt : why either angle must not be trusted; nothing is then blamed.
    """
    if spar is None or built_in is None or station.spar_tolerance_deg is None:
        return _no_spar(station, spar, chord_decision)
    jig = decide(spar, station.spar_tolerance_deg, doubt)
    rib = decide(built_in, built_in_tolerance(station), doubt)
    cause = cause_of(jig, rib, chord_decision)
    sure = jig.outcome == "conforming", rib.outcome == "conforming"
    return RibOrJig(
        cause,
        spar,
        built_in,
        jig,
        rib,
        _words(station, cause, spar, built_in, doubt, sure),
        *_what_to_do(station, cause, spar, built_in, chord),
    )


def with_bay(part: RibOrJig, bay: str, turn: Quantity) -> RibOrJig:
    """The same for a rib of a bay that one jig turns: told to turn what the jig turns, not its own share.

    turn : what the jig is to turn by, degrees, nose-up positive.
    """
    words = f"{number(abs(turn.value), places(turn.U))}° {_sense(turn.value)}"
    if part.cause == "jig":
        return replace(
            part,
            before_glue=f"Turn the jig of {bay} {words}: spar lines and chords of its ribs come right together. Leave the "
            "rib alone.",
            after_glue=f"As long as the jig or fitting still turns, turning the jig of {bay} {words} cures spar line and "
            "chord together; once the spar is fixed as it stands, the error is in the wing. Do not reglue the rib.",
        )
    if part.cause == "both":
        first = f"Turn the jig of {bay} {words} first"
        rest = part.before_glue.partition(" first")[2]
        return replace(part, before_glue=first + rest)
    return part


def _no_spar(station: Station, spar: Quantity | None, chord: Decision | None) -> RibOrJig:
    fine = chord is not None and chord.outcome == "conforming"
    lacks = "the job gives it no spar line" if station.spar_deg is None else "its spar line was not read"
    head = "chord within tolerance; " if fine else ""
    words = f"{station.name}: {head}{lacks}, so rib and jig are not told apart"
    do = (
        ""
        if fine
        else (
            "Read the spar line as well before turning anything: a rib set wrong on a true "
            "spar must not be cured at the jig."
        )
    )
    return RibOrJig("untold", spar, None, None, None, words, do, do)


def _sense(value: float) -> str:
    return "nose-up" if value > 0 else "nose-down"


def _lean(value: float) -> str:
    return "top aft" if value > 0 else "top forward"


def _words(
    station: Station,
    cause: Cause,
    spar: Quantity,
    built_in: Quantity,
    doubt: str | None,
    sure: tuple[bool, bool],
) -> str:
    lean = f"spar line {degrees(spar, sign=True)} off ({_lean(spar.value)}, so {_sense(spar.value)})"
    rib = f"rib {degrees(built_in, sign=True)} off its spar line ({_sense(built_in.value)})"
    heads: dict[Cause, str] = {
        "neither": "neither spar line nor rib is shown to be wrong",
        "jig": "the jig, spar or fitting stands wrong; the rib is "
        + ("true to it" if sure[1] else "not shown to be wrong on it"),
        "rib": "the rib itself is set wrong on a spar that "
        + ("stands right" if sure[0] else "is not shown to be wrong"),
        "both": "the jig stands wrong and the rib is set wrong as well",
        "sum": "spar line and rib are each within tolerance, but add up to more than the chord allows",
        "untold": "rib and jig cannot be told apart" + (f" ({doubt})" if doubt else " at this uncertainty"),
    }
    return f"{station.name}: {heads[cause]}: {lean}; {rib}"


def edge_mm(station: Station, angle_deg: float) -> float:
    """Height at the trailing edge, mm, that a turn by this angle about the leading edge makes."""
    return station.chord_mm * math.tan(math.radians(angle_deg))


def _forecast(chord: Quantity | None, built_in: Quantity, station: Station) -> str:
    """What setting the rib true to its spar leaves of the chord's deviation."""
    if chord is None:
        return ""
    left = chord - built_in
    within = abs(left.value) <= station.chord_tolerance_deg
    return (
        f" The chord, now {number(chord.value, 2, sign=True)}° from design, would then stand "
        f"{number(left.value, 2, sign=True)}° from it{'' if within else ', still out of tolerance: the spar has its share'}."
    )


def _what_to_do(
    station: Station, cause: Cause, spar: Quantity, built_in: Quantity, chord: Quantity | None
) -> tuple[str, str]:
    turn = f"{number(abs(spar.value), 2)}° {_sense(-spar.value)}"
    reset = (
        f"{number(abs(built_in.value), 2)}° {_sense(-built_in.value)}, "
        f"{number(abs(edge_mm(station, built_in.value)), 1)} mm over the chord"
    )
    if cause == "jig":
        return (
            f"Turn the jig {turn}: spar line and chord come right together. Leave the rib alone.",
            f"As long as the jig or fitting still turns, turning it {turn} cures spar line and chord "
            "together; once the spar is fixed as it stands, the error is in the wing. "
            "Do not reglue the rib.",
        )
    then = _forecast(chord, built_in, station)
    if cause == "rib":
        return (
            f"Set the rib afresh on its spar, {reset}, before any glue.{then} Leave the jig alone: turning it "
            "would put the spar line and the neighbouring ribs out.",
            f"Only regluing the rib cures it ({reset}).{then} The jig cannot: turning it would put the spar "
            "line and the neighbouring ribs out.",
        )
    if cause == "both":
        return (
            f"Turn the jig {turn} first, then set the rib on its spar, {reset}.",
            f"Turning the jig {turn} cures its part; the rib's own part ({reset}) takes regluing.",
        )
    if cause == "sum" and chord is not None:
        return (
            f"Either will do: the jig turned or the rib set by {number(abs(chord.value), 2)}° "
            f"{_sense(-chord.value)}; the jig moves its neighbours too.",
            f"Turning the jig {number(abs(chord.value), 2)}° {_sense(-chord.value)} brings the chord "
            "right, if spar line and neighbours stay within tolerance.",
        )
    if cause == "untold":
        return ("Turn nothing yet: measure again first.", "Turn nothing yet: measure again first.")
    return ("", "")
