"""The words under the picture: angles with U, or the reason why there is none; flags; what was weighed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from shared.lines import reference_words
from shared.numerics.arrays import U8
from shared.reading import NO_RIB, Angle, FoundLean, NamedAngle, Reading, SeenLine
from shared.rounding import degrees, number
from vision.overlay.dimensions import told
from vision.overlay.lettering import Colour, face, wrap

PAPER: Colour = (24, 20, 18)
INK: Colour = (245, 245, 245)
QUIET: Colour = (190, 190, 190)
WARN: Colour = (66, 228, 240)
"""Yellow of the Okabe-Ito set, distinct from white in brightness and always beside the word FLAG."""
STOP: Colour = (60, 170, 255)


@dataclass(frozen=True)
class Sentence:
    """One paragraph of the caption. size : height as a share of the picture's width."""

    text: str
    colour: Colour
    size: float
    bold: bool = False


@dataclass(frozen=True)
class Headline:
    """What stands right under the angle. verdict : against the design, "" for none. todo : the one thing to do now."""

    verdict: str
    todo: str


def sentences(
    reading: Reading,
    letters: dict[int, str],
    headline: Headline | None = None,
    details: bool = False,
    further: tuple[Reading, ...] = (),
    values: Mapping[str, str] | None = None,
) -> tuple[list[Sentence], list[Sentence]]:
    """What stands above the picture, and below.

    letters : index of a candidate line -> the letter it carries in the picture. details : the numbers by which
    candidates were weighed. further : of the ribs behind. values : of the reading's dimensions, in words.

    reading : of the foremost rib. headline : what stands first, in place of the reading's own.
    """
    station = reading.station or "station unknown"
    advice = [a.text for a in reading.advice]
    head = []
    if reading.chord.reason == NO_RIB:
        head.append(Sentence(station, INK, 1 / 20, bold=True))
    elif reading.chord.quantity is None:
        head.append(Sentence(f"{station}: NOT MEASURED", STOP, 1 / 20, bold=True))
        head.append(Sentence(f"Reason: {reading.chord.reason or 'none given'}", INK, 1 / 30))
    else:
        head.append(Sentence(f"{station}  chord {degrees(reading.chord.quantity)}", INK, 1 / 20, bold=True))
    todo = headline.todo if headline is not None else advice[0] if advice else ""
    if headline is not None and headline.verdict:
        head.append(Sentence(headline.verdict, INK, 1 / 28, bold=True))
    if todo:
        head.append(Sentence(f"To do: {todo}", INK, 1 / 30))
    if reading.spar.reason is None or reading.spar.reason != reading.chord.reason:
        head += _spar(reading.spar)
    for line in reading.lines:
        head += _named(line)
    for m in reading.dimensions:
        head.append(Sentence(told(m, values or {}), INK, 1 / 32, bold=m.quantity is not None))
        head += [Sentence(f"FLAG at {m.name}: {f.text}", WARN, 1 / 38) for f in m.flags if f not in reading.flags]
    flags = {f.code: f for f in (*reading.flags, *reading.chord.flags, *reading.spar.flags)}
    head += [Sentence(f"FLAG: {f.text}", WARN, 1 / 34, bold=True) for f in flags.values()]
    if reading.lean is not None:
        head.append(Sentence(_lean(reading.lean), INK, 1 / 38))
    for other in further:
        head += _behind(other)
    out = [Sentence(f"Would help: {text}", INK, 1 / 38) for text in advice if text != todo]
    lines = reading.evidence.lines if reading.evidence else ()
    out += [Sentence(f"{letter}: {_why(lines[i], details)}", QUIET, 1 / 40) for i, letter in letters.items()]
    out.append(Sentence(_small_print(reading), QUIET, 1 / 46))
    return head, out


def caption(parts: list[Sentence], width: int, margin: int | None = None) -> U8:
    """The sentences set on a dark ground: (h, width, 3) BGR uint8. margin : above and below, pixels.

    parts : in the order in which they stand. width : of the picture below it, pixels.
    """
    side = round(width / 60)
    margin = side if margin is None else margin
    rows = []
    y = float(margin)
    for part in parts:
        font = face(max(9, round(width * part.size)), part.bold)
        rise, fall = font.getmetrics()
        for line in wrap(part.text, font, width - 2 * side):
            rows.append((y, line, font, part.colour))
            y += (rise + fall) * 1.05
        y += 0.12 * (rise + fall)
    sheet = Image.new("RGB", (width, round(y) + margin), PAPER)
    pen = ImageDraw.Draw(sheet)
    for top, line, font, colour in rows:
        pen.text((side, top), line, fill=colour, font=font)
    return np.asarray(sheet, dtype=np.uint8)


def _spar(angle: Angle) -> list[Sentence]:
    if angle.quantity is not None:
        return [Sentence(f"spar line {degrees(angle.quantity)}", INK, 1 / 28, bold=True)]
    if angle.reason:
        return [Sentence(f"Spar line not measured: {angle.reason}", INK, 1 / 38)]
    return []


def _named(line: NamedAngle) -> list[Sentence]:
    """A line by name, with its own doubts."""
    q = line.angle.quantity
    if q is None:
        return [Sentence(f"{line.name} not measured: {line.angle.reason}", INK, 1 / 38)]
    said = [Sentence(f"{line.name} {degrees(q)} from level", INK, 1 / 28, bold=True)]
    return said + [Sentence(f"FLAG at {line.name}: {f.text}", WARN, 1 / 34, bold=True) for f in line.angle.flags]


def _behind(reading: Reading) -> list[Sentence]:
    """A rib behind the foremost one."""
    said = [Sentence(f"{reading.station}, behind: {_chord(reading)}", INK, 1 / 34, bold=reading.measured)]
    flags = {f.code: f for f in (*reading.flags, *reading.chord.flags)}
    return said + [Sentence(f"FLAG at {reading.station}: {f.text}", WARN, 1 / 38) for f in flags.values()]


def _chord(reading: Reading) -> str:
    parts = []
    if reading.chord.quantity is not None:
        parts.append(f"chord {degrees(reading.chord.quantity)}")
    if reading.twist is not None:
        parts.append(f"stands {degrees(reading.twist.quantity, sign=True)} against {reading.twist.against}")
    return ", ".join(parts) or f"not measured: {reading.chord.reason or 'no reason given'}"


def _lean(found: FoundLean) -> str:
    return (
        f"The rib leans by {degrees(found.quantity, sign=True)} as the photo shows it; "
        f"the job states {number(found.stated_deg, 2, sign=True)}° "
        f"(U {number(2 * found.u_stated_deg, 2)}°)"
    )


def _why(line: SeenLine, details: bool) -> str:
    numbers = "; ".join(_worded(name, value) for name, value in line.evidence[:4]) if details else ""
    return f"{line.why or 'weighed, not taken'}" + (f" ({numbers})" if numbers else "")


def _worded(name: str, value: float) -> str:
    """A number of the evidence; a single word after a comma in its name is its unit."""
    what, _, unit = name.partition(", ")
    if " " in unit:
        what, unit = name, ""
    return f"{what} {value:.2g}{'°' if unit == 'deg' else f' {unit}' if unit else ''}".replace("-", "\N{MINUS SIGN}")


def _small_print(reading: Reading) -> str:
    against = reference_words(reading.reference)
    helped = " Lines pointed out by hand." if reading.made.helped else ""
    return (
        f"Nose-up positive; ± is U, k = 2, about 95 %. Against {against}.{helped} {reading.photo.name}, "
        f"SHA-256 {reading.photo.sha256[:12]}, ribangle {reading.made.version}. "
        "An aid, not an inspection: confirm with an independent instrument."
    )
