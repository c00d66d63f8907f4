"""Reads a seven-segment display: window, ink, row of digits, segments, glyphs; a value only when nothing is doubtful.

A digit is judged segment by segment, by how far each is from being taken for the other state; the decimal point
and the minus likewise. What the strip shows beside the digits must be explained too: a tall stroke that is no
digit, a digit cut by the edge, two rows or two ways round that read differently all give no value.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from shared.reading import Flag
from vision.display_ink import STROKE, evened, full_level, ink, off_border, window, without_frame
from vision.display_row import OVER, TALL, UPRIGHT, Part, Row, find_rows, parts, upright
from vision.display_segments import NAMES, Cell, cells, dash_ink, explained, measure, point_ink, stroke
from vision.display_types import F32, F64, GLYPHS, U8, Digit, DisplayReading, unread

SURE = 0.50
"""Confidence from which a value is given."""
RIVAL = 0.25
"""Confidence from which other figures stand against a reading that is found only in evened ink."""
LARGEST = 360.0
"""No inclinometer shows more degrees."""
CUTS = (0.45, 0.6, 0.33)
"""Shares of the lit level at which ink counts."""
EVENED = ((0.0, STROKE), (3.0, 0.15), (5.0, STROKE))
"""Blur of the squared window, pixels, and widest stroke, where noise or glare hides the figures."""


def read_display(image: U8, corners: F64 | None = None, *, upright: bool | None = None,
                 decimals: int | None = None) -> DisplayReading:  # fmt: skip
    """The number on a display.

    image : (h, w) uint8 grey. corners : (4, 2) pixels of the window, the digits' upper left first, clockwise;
    None: the image is a crop of the window. upright : whether the picture (or the corners' order) is known to
    stand as the digits read; by default it is with corners and is not for a crop. decimals : digits after the
    point, where the gauge always shows as many.
    """
    if image.ndim != 2 or min(image.shape) < 12:
        raise ValueError("a grey picture of at least 12 x 12 pixels is needed")
    known = corners is not None if upright is None else upright
    plain = _either_way_up(image, corners, known, decimals, False)
    if plain:
        return plain
    # glare, shade or a strong bezel may hide good figures from one level for the whole window
    even = _either_way_up(image, corners, known, decimals, True)
    return even if even else plain


def _either_way_up(image: U8, corners: F64 | None, known: bool, decimals: int | None, even: bool) -> DisplayReading:
    first = _both_polarities(image, corners, decimals, even)
    if known:
        return first
    second = _both_polarities(*_turned(image, corners), decimals, even)
    if first and second and ("." in (first.text or "")) != ("." in (second.text or "")):
        # a point stands at the foot of the digits: the way up in which one is seen is the right one
        second = replace(second, value=None) if "." in (first.text or "") else second
        first = replace(first, value=None) if second else first
    if first and second:
        return unread(f'reads "{first.text}" one way up and "{second.text}" the other: give the corners, or a tag',
                      first.digits)  # fmt: skip
    if second and not first and len(second.digits) < len(first.digits):
        return first
    if first and not second and len(first.digits) < len(second.digits):
        return second
    if second and not first:
        note = Flag("display-upside-down", "the display stands on its head in the picture")
        return replace(second, upside_down=True, flags=(*second.flags, note), digits=_turned_back(second, image))
    return first


def _turned(image: U8, corners: F64 | None) -> tuple[U8, F64 | None]:
    if corners is not None:
        return image, np.roll(corners, 2, axis=0)
    return np.ascontiguousarray(image[::-1, ::-1]), None


def _turned_back(reading: DisplayReading, image: U8) -> tuple[Digit, ...]:
    h, w = image.shape
    return tuple(replace(d, outline=tuple((w - 1 - x, h - 1 - y) for x, y in d.outline)) for d in reading.digits)


def _both_polarities(image: U8, corners: F64 | None, decimals: int | None, even: bool) -> DisplayReading:
    flat, back = window(image, corners)
    tries: list[DisplayReading] = []
    for light in (False, True):
        tries.append(_one_polarity(flat, back, light, decimals, corners is None, even))
    dark, bright = tries
    for one, other in ((dark, bright), (bright, dark)):
        # what lies between the strokes of digits may look like digits, but lower ones
        if one and other and _tall(one) > 1.6 * _tall(other) and len(one.digits) >= len(other.digits):
            return one
    if dark and bright and dark.text != bright.text and min(len(dark.digits), len(bright.digits)) > 1:
        return unread(f'reads "{dark.text}" dark on light and "{bright.text}" light on dark', dark.digits)
    for one, other in ((dark, bright), (bright, dark)):
        if one and not other and _outdone(one, other):
            return other
    if dark or bright:
        return max((t for t in tries if t), key=lambda t: (len(t.digits), t.confidence))
    return max(tries, key=lambda t: (sum(d.char != "?" for d in t.digits), t.confidence))


def _outdone(one: DisplayReading, other: DisplayReading) -> bool:
    """Whether a reading may be what lies between the strokes of digits that the other way of light could not read."""
    found, lost = len(one.digits), len(other.digits)
    figures = sum(d.char != "?" for d in other.digits)
    if one.confidence >= 0.75 and found > 1 and _tall(one) > 1.2 * _tall(other):
        return False
    if found < lost or (found == lost and (one.confidence < 0.75 or figures == lost)):
        return True
    return figures >= 2 and 2 * figures >= lost and _tall(other) > 1.25 * _tall(one)


def _tall(reading: DisplayReading) -> float:
    """Height of a reading's digits in the photo, pixels; 0 without any."""
    heights = [float(np.hypot(d.outline[3][0] - d.outline[0][0], d.outline[3][1] - d.outline[0][1]))
               for d in reading.digits if len(d.outline) == 4]  # fmt: skip
    return float(np.median(heights)) if heights else 0.0


def _one_polarity(flat: F32, back: F64, light: bool, decimals: int | None, crop: bool, even: bool) -> DisplayReading:
    tries = []
    for found, seen in _inks(flat, light, crop, even):
        level = full_level(found)
        if level <= 0:
            continue
        for share in CUTS:
            rows = find_rows(found, share * level)
            if rows:
                read = [(row, _read_row(row, seen, share * level, back, light, decimals)) for row in rows]
                tries.append(_best_row(read))
    if not tries:
        return unread("no row of digits found")
    given = [t for t in tries if t]
    if given and any(t.text != given[0].text for t in given):
        texts = ", ".join(sorted({f'"{t.text}"' for t in given}))
        return unread(f"reads {texts} according to how dark counts as lit", given[0].digits)
    best = max(tries, key=lambda t: (bool(t), t.confidence))
    return _agreed(best, tries) if even and best else best


def _agreed(best: DisplayReading, tries: list[DisplayReading]) -> DisplayReading:
    """A reading found only in evened ink: two tries must give it, and most of those that see the same figures be sure."""
    if sum(bool(t) for t in tries) < 2:
        return unread(f'"{best.text}" is read only at one level of ink', best.digits)
    figures = _figures(best)
    rivals = [t for t in tries if "?" not in _figures(t) and len(t.digits) >= len(figures) and _figures(t) != figures
              and min(d.confidence for d in t.digits) > RIVAL]  # fmt: skip
    if rivals:
        return unread(f'"{best.text}" or the figures {_figures(rivals[0])}, according to the level of ink', best.digits)
    alike = [min(d.confidence for d in t.digits) for t in tries if _figures(t) == figures]
    sure = min(best.confidence, float(np.quantile(alike, 0.25)))
    if sure < SURE:
        at = int(np.argmin([d.confidence for d in best.digits])) + 1
        return unread(f'digit {at} of "{best.text}" is doubtful', best.digits, sure)
    return replace(best, confidence=sure)


def _figures(reading: DisplayReading) -> str:
    return "".join(d.char for d in reading.digits)


def _inks(flat: F32, light: bool, crop: bool, even: bool) -> list[tuple[F32, F32]]:
    """Ink to look for digits in, and the picture it was taken from: plainly, or evened out, sharp and soft."""
    out = []
    for soft, widest in EVENED if even else ((0.0, STROKE),):
        picture: F32 = np.asarray(cv2.GaussianBlur(flat, (0, 0), soft) if soft else flat, dtype=np.float32)
        found = ink(picture, light, widest)
        level = full_level(found)
        if crop and level > 0:
            found = without_frame(found, 0.4 * level)
            level = full_level(found)
        if even and level > 0:
            level = full_level(off_border(found, 0.4 * level)) or level
            found = evened(found, level)
            # glare leans on the picture that shows where the ground is, too
            picture = np.asarray(picture - cv2.GaussianBlur(picture, (0, 0), 0.1 * flat.shape[0]), dtype=np.float32)
        out.append((found, picture))
    return out


def _best_row(read: list[tuple[Row, DisplayReading]]) -> DisplayReading:
    """The row to believe: the surest of those lying over each other; none where two apart both read."""
    given = sorted((pair for pair in read if pair[1]), key=lambda pair: -pair[1].confidence * len(pair[1].digits))
    if not given:
        return read[0][1]
    row, main = given[0]
    for other, lost in read:
        figures = sum(d.char != "?" for d in lost.digits)
        if not lost and row.overlaps(other) and other.tall > 1.3 * row.tall and figures >= 2:
            return unread(f'reads "{main.text}" within a taller row that cannot be read', main.digits)
    for other, rival in given[1:]:
        if row.overlaps(other):
            doubt = rival.confidence > 0.6 * main.confidence and len(rival.digits) >= len(main.digits)
            if rival.text != main.text and doubt:
                return unread(f'reads "{main.text}" or "{rival.text}"', main.digits)
        elif other.tall > 0.6 * row.tall and len(rival.digits) > 1:
            return unread(f'two rows of digits, "{main.text}" and "{rival.text}"', main.digits)
    return main


@dataclass(frozen=True)
class _Glyphs:
    """Digits with their share of lit, the level of full and of no ink, and the cut between lit and unlit."""

    digits: list[Digit]
    dark: float
    full: float
    cut: float
    margin: float


def _read_row(row: Row, flat: F32, cut: float, back: F64, light: bool, decimals: int | None) -> DisplayReading:
    mask = row.strip > cut
    everything = _split(parts(row, cut), mask)
    tall = [p for p in everything if _is_digit(p) and upright(mask, p) > UPRIGHT]
    if not tall:
        return unread("no digits found")
    digits = _with_small(tall, [p for p in everything if upright(mask, p) > 0.7 * UPRIGHT])
    if len(digits) > 7:
        return unread("more than seven digits in the row")
    edge = min(p.left for p in digits) <= 1 or max(p.right for p in digits) >= row.strip.shape[1] - 1
    if not _stands_on_ground(row, flat, mask, digits):
        return unread("no digits found")
    thick = stroke(mask, tall)
    if max(p.width / p.height for p in digits) > 0.9:
        return unread("digits run into each other")
    places = cells(digits, thick)
    glyphs = _glyphs(row, places, thick, mask, back)
    if edge:
        return unread("a digit is cut by the edge of the window", tuple(glyphs.digits))
    zones = slice(OVER - 12, OVER + 4), slice(OVER + TALL - 4, OVER + TALL + 12)
    beyond = max(sum(bool(mask[z, p.left : p.right].any(axis=1).all()) for p in digits) for z in zones)
    if 2 * beyond > len(digits):
        # a word may touch a digit; strokes that most digits go on with are their own
        return unread("the digits' strokes go on beyond the row", tuple(glyphs.digits))
    return _spoken(row, glyphs, places, everything, thick, light, decimals, mask)


def _stands_on_ground(row: Row, flat: F32, mask: NDArray[np.bool_], digits: list[Part]) -> bool:
    """Whether above and below the digits the picture looks as it does between their strokes.

    Seen with light and dark exchanged, the holes in digits pass for strokes; but the ground round them does too.
    """
    seen = cv2.warpAffine(flat, row.to_window, mask.shape[::-1], flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                          borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    for_it, votes = 0.0, 0
    for p in digits:
        columns = slice(p.left, p.right)
        drawn = mask[:, columns]
        soft = cv2.dilate(drawn.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
        # light falls unevenly: the ground over the digits is held against their upper half, that under to the lower
        for body, beside in ((slice(OVER, OVER + TALL // 2), slice(OVER - 16, OVER - 7)),
                             (slice(OVER + TALL // 2, OVER + TALL), slice(OVER + TALL + 7, OVER + TALL + 16))):  # fmt: skip
            part, on, near = seen[body, columns], drawn[body], soft[body]
            if not on.any() or near.all():
                continue
            lit, unlit = float(np.median(part[on])), float(np.median(part[~near]))
            ground = float(np.median(seen[beside, columns]))
            if lit != unlit:
                vote = (abs(ground - lit) - abs(ground - unlit)) / abs(lit - unlit)
                for_it += float(np.clip(vote, -1, 1))
                votes += 1
    return for_it > 0.15 * votes


def _split(found: list[Part], mask: NDArray[np.bool_]) -> list[Part]:
    """Parts far wider than a digit are cut where a column holds almost no ink."""
    out: list[Part] = []
    for p in found:
        if p.width <= 0.74 * max(p.height, 0.98 * TALL):
            out.append(p)
            continue
        columns = mask[OVER - 3 : OVER + int(0.77 * TALL), p.left : p.right].sum(axis=0)
        clear = columns <= 3
        edges = np.flatnonzero(np.diff(np.concatenate([[0], (~clear).astype(np.int8), [0]])))
        for a, b in zip(edges[::2], edges[1::2], strict=True):
            rows = np.flatnonzero(
                mask[OVER - 12 : OVER + TALL + 12, p.left + a : p.left + b].sum(axis=1) >= min(4, b - a)
            )
            if b - a >= 4 and len(rows):
                out.append(Part(int(p.left + a), int(p.left + b), int(rows[0]) + OVER - 12, int(rows[-1]) + OVER - 11))
    return out


def _is_digit(p: Part) -> bool:
    """From top to foot; a 1 of blunt segments falls short of both alike."""
    top, foot = (p.top - OVER) / TALL, (p.bottom - OVER) / TALL
    blunt_one = top <= 0.3 and 0.7 <= foot < 0.92 and p.width < 0.3 * TALL
    return (top <= 0.2 and foot >= 0.8) or blunt_one


def _with_small(tall: list[Part], everything: list[Part]) -> list[Part]:
    """The tall parts and, right of them, smaller digits standing on the same foot."""
    foot = float(np.median([p.bottom for p in tall]))
    last = max(p.right for p in tall)
    small = [p for p in everything if p.left >= last and 0.5 * TALL <= p.height < 0.8 * TALL
             and abs(p.bottom - foot) < 0.09 * TALL and p.width < 0.85 * p.height and p.left - last < 0.8 * TALL]  # fmt: skip
    return sorted([*tall, *small[:1]], key=lambda p: p.left)


def _glyphs(row: Row, places: list[Cell], thick: float, mask: NDArray[np.bool_], back: F64) -> _Glyphs:
    raw, holes = [], []
    for c in places:
        size = (c.bottom - c.top) / TALL
        values, hole = measure(row.strip, c, thick * size)
        raw.append(values)
        holes.append(hole)
    full = float(np.median(np.concatenate([v[v > 0.5 * np.concatenate(raw).max()] for v in raw])))
    dark = float(np.clip(np.median(holes), 0, 0.6 * full))
    lit = [(v - min(max(hole, 0.0), 0.5 * full)) / max(_near_full(raw, i, full) - min(max(hole, 0), 0.5 * full), 1e-6)
           for i, (v, hole) in enumerate(zip(raw, holes, strict=True))]  # fmt: skip
    cut, margin = _cut(np.concatenate(lit))
    below = np.concatenate([v[v <= cut] for v in lit])
    ghost = float(np.clip(np.median(below), 0, 0.2)) if len(below) else 0.0
    digits = []
    for c, values in zip(places, lit, strict=True):
        on = "".join(n for n, v in zip(NAMES, values, strict=True) if v > cut)
        char = GLYPHS.get(on, "?")
        covered = explained(mask, c, on, thick * (c.bottom - c.top) / TALL)
        confidence = _confidence(values, cut, on, ghost) * float(np.clip((covered - 0.7) / 0.2, 0, 1))
        digits.append(Digit(char, confidence, tuple(float(v) for v in values), _outline(c, row, back)))
    return _Glyphs(digits, dark, full, cut, margin)


def _near_full(raw: list[F64], i: int, full: float) -> float:
    """Full ink about digit i: the median of its own lit segments, held to the row's."""
    own = raw[i][raw[i] > 0.5 * raw[i].max()]
    return float(np.clip(np.median(own), 0.6 * full, 1.6 * full))


def _cut(lit: F64) -> tuple[float, float]:
    """Where lit and unlit part: the middle of the widest gap between the shares 0.1 and 0.9, and half its width."""
    inside = np.sort(np.clip(np.concatenate([lit, [0.0, 1.0]]), 0, 1))
    gaps = np.diff(inside)
    middle = (inside[1:] + inside[:-1]) / 2
    weight = np.where((middle > 0.15) & (middle < 0.85), gaps, 0)
    at = int(weight.argmax())
    return float(np.clip(middle[at], 0.3, 0.62)), float(gaps[at] / 2)


TAILLESS = ("abcfg", "cdefg")
"""A 9 or 6 drawn with six strokes is one stroke from a crowned 7 or a broken figure: all of them must be plain."""


def _confidence(values: F64, cut: float, on: str, ghost: float) -> float:
    """How far the digit is from the next one, 0 to 1.

    Each segment has its room to the cut (1 where it is as far as full or dark is). Another digit needs all the
    segments in which it differs to be wrong, so the roomiest of them stands against it; and no segment at all may
    lie on the cut. What is unlit must look like the row's other unlit segments (`ghost`, their level): one that
    stands out from them is a faded one.
    """
    faded = 1.5 * np.maximum(values - ghost - 0.08, 0)
    room = np.clip(np.where(values > cut, (values - cut) / (1 - cut), (cut - values) / cut - faded), 0, 1)
    against = [max(room[i] for i, n in enumerate(NAMES) if (n in on) != (n in other))
               for other in GLYPHS if GLYPHS[other] != GLYPHS.get(on)]  # fmt: skip
    plain = 1.0 if on not in TAILLESS else float(room.min())
    return float(min(min(against), 0.2 + 1.5 * room.min(), plain))


def _outline(c: Cell, row: Row, back: F64) -> tuple[tuple[float, float], ...]:
    strip = np.array([[c.left, c.top], [c.right, c.top], [c.right, c.bottom], [c.left, c.bottom]])
    flat = strip @ row.to_window[:, :2].T + row.to_window[:, 2]
    photo = cv2.perspectiveTransform(flat[None], back)[0]
    return tuple((float(x), float(y)) for x, y in photo)


def _spoken(row: Row, g: _Glyphs, places: list[Cell], everything: list[Part], thick: float, light: bool,
            decimals: int | None, mask: NDArray[np.bool_]) -> DisplayReading:  # fmt: skip
    """Point, minus and what else stands in the row; then the number."""
    chars = [d.char for d in g.digits]
    digits = tuple(g.digits)
    worst = min(d.confidence for d in digits)
    if "?" in chars:
        return unread(f'segments of digit {chars.index("?") + 1} form no figure ("{"".join(chars)}")', digits, 0.0)
    span = max(g.full - g.dark, 1e-6)
    points = _points(row.strip, places, thick) / span
    point, sure, why = _point(points, decimals)
    if why:
        return unread(why, digits, sure)
    worst = min(worst, sure)
    minus, sure, why = _minus(row.strip, places, everything, thick, g, mask)
    if why:
        return unread(why, digits, sure)
    worst = min(worst, sure)
    odd = _unexplained(places, everything, mask)
    if odd:
        return unread(odd, digits, worst)
    text = "".join(chars)
    if point is not None:
        text = text[: point + 1] + "." + text[point + 1 :]
    text = ("-" if minus else "") + text
    if set(text) <= {"1", "-"}:
        return unread(f'"{text}" might be any stroke', digits, worst)
    if any(d == "1" and _crowned(row, c) for d, c in zip(chars, places, strict=True)):
        return unread("a 1 may be a 7 or the edge of another figure", digits, worst)
    if worst < SURE:
        doubtful = [i + 1 for i, d in enumerate(digits) if d.confidence < SURE]
        what = f"digit {doubtful[0]}" if doubtful else "the decimal point or the minus"
        return unread(f'{what} of "{text}" is doubtful', digits, worst)
    if abs(float(text)) > LARGEST or (len(chars) > 1 and chars[0] == "0" and point != 0):
        return unread(f'"{text}" is no angle a gauge shows', digits, worst)
    if point is None and decimals is None:
        # a point that is not seen makes ten times the angle
        return unread(f'no decimal point seen in "{text}": say how many digits follow it (0 for none)', digits, worst)
    return DisplayReading(float(text), text, None, digits, worst, False, light)


def _crowned(row: Row, c: Cell) -> bool:
    """Whether ink lies over or under the empty part of a 1's cell, where another figure would have a level bar."""
    strip = row.strip
    usual = float(np.median(strip[c.part.top : c.part.bottom, c.part.left : c.part.right].max(axis=1)))
    x0, x1 = max(round(c.left), 0), max(c.part.left - 3, round(c.left) + 1)
    zones = strip[max(c.part.top - 22, 0) : c.part.top + 4, x0:x1], strip[c.part.bottom - 4 : c.part.bottom + 22, x0:x1]
    return any(z.size > 0 and float(z.mean(axis=1).max()) > 0.4 * usual for z in zones)


def _points(strip: F32, places: list[Cell], thick: float) -> F64:
    """(n,) ink of a decimal point after each digit."""
    found = []
    for i, c in enumerate(places):
        h = c.bottom - c.top
        stop = places[i + 1].part.left if i + 1 < len(places) else c.right + 0.32 * h
        found.append(point_ink(strip, c.right + 0.02 * h, min(stop, c.right + 0.5 * h) - 0.02 * h, c.top, c.bottom,
                               thick, i + 1 < len(places)))  # fmt: skip
    return np.array(found)


def _point(ink_of: F64, decimals: int | None) -> tuple[int | None, float, str]:
    """After which digit the point stands (None: nowhere), how surely, and why it cannot be told."""
    lit = np.nan_to_num(ink_of, nan=0.0)
    seen = np.flatnonzero(lit > 0.45)
    if decimals is not None:
        wanted = len(lit) - 1 - decimals if decimals else None
        if wanted is not None and wanted < 0:
            return None, 0.0, f"fewer digits than the {decimals} after the point that the gauge shows"
        if [*seen] != ([wanted] if wanted is not None else []) and len(seen):
            return None, 0.0, "the decimal point is not where this gauge shows it"
        return wanted, 1.0, ""
    if len(seen) and int(seen[0]) < len(lit) - 1:
        # no gauge shows a point after its last digit as well: what is there is a unit's foot
        lit, seen = lit[:-1], seen[seen < len(lit) - 1]
    if len(seen) > 1:
        return None, 0.0, "more than one decimal point"
    others = np.delete(lit, seen)
    doubt = float(others.max()) if len(others) else 0.0
    if doubt > 0.33:
        return None, 0.0, "a decimal point is doubtful"
    if len(seen) == 0:
        return None, float(np.clip((0.33 - doubt) / 0.33, 0, 1)), ""
    at = int(seen[0])
    if at == len(ink_of) - 1:
        return None, 0.0, "no digit after the decimal point"
    return at, float(np.clip(min((lit[at] - 0.25) / 0.4, (0.45 - doubt) / 0.45), 0, 1)), ""


def _minus(strip: F32, places: list[Cell], everything: list[Part], thick: float, g: _Glyphs,
           mask: NDArray[np.bool_]) -> tuple[bool, float, str]:  # fmt: skip
    """Whether a minus stands before the digits, how surely, and why it cannot be told."""
    first = places[0]
    h = first.bottom - first.top
    reach = max(first.part.left - 3.0 * h, 0.0)
    before = [p for p in everything if p.right <= first.part.left and p.left >= reach]
    signs = [p for p in before if _is_triangle(p, mask)]
    seen = strip.copy() if signs else strip
    for p in signs:  # a triangle or a letter is no bar, whatever a slice of it looks like
        seen[max(p.top - 4, 0) : p.bottom + 4, max(p.left - 4, 0) : p.right + 4] = 0
    level = dash_ink(seen, reach, first.part.left - 0.05 * h, first.top, first.bottom, thick) / max(g.full, 1e-6)
    dashes = [p for p in before if _is_dash(p, first) and p not in signs]
    if dashes and level > 0.5:
        if not any(_is_bar(p, mask, thick) for p in dashes):
            return False, 0.0, "a minus before the digits is doubtful"
        return True, float(np.clip((level - 0.25) / 0.4, 0, 1)), ""
    astray = [p for p in before if p not in signs and p not in dashes and _is_bar(p, mask, thick)
              and 0.15 * h < (p.top + p.bottom) / 2 - first.top < 0.85 * h]  # fmt: skip
    if level > 0.28 or dashes or astray:
        return False, 0.0, "a minus before the digits is doubtful"
    return False, float(np.clip((0.34 - level) / 0.3, 0, 1)), ""


def _is_dash(p: Part, first: Cell) -> bool:
    h = first.bottom - first.top
    middle = (p.top + p.bottom) / 2 - first.top
    return bool(0.38 * h < middle < 0.62 * h and p.height < 0.34 * h and 0.1 * h < p.width < 0.8 * h)


def _lean(p: Part, mask: NDArray[np.bool_]) -> tuple[float, float]:
    """How far a part's ink lies off the middle of its box, as shares of its width and height; and how full it is."""
    box = mask[p.top : p.bottom, p.left : p.right]
    rows, columns = np.nonzero(box)
    off = max(abs(float(columns.mean() + 0.5) / box.shape[1] - 0.5), abs(float(rows.mean() + 0.5) / box.shape[0] - 0.5))
    return off, float(box.mean())


def _is_bar(p: Part, mask: NDArray[np.bool_], thick: float) -> bool:
    """Whether a part is drawn as a minus: even about its middle, full, not higher than wide, of a stroke's height."""
    off, full = _lean(p, mask)
    return off < 0.07 and full > 0.66 and p.width >= 1.05 * p.height and p.height < 1.8 * thick + 5


def _is_triangle(p: Part, mask: NDArray[np.bool_]) -> bool:
    """Whether a part is surely no minus but a triangle: its ink lies a sixth off the middle, its lines grow evenly."""
    off, full = _lean(p, mask)
    if off < 0.09 or full > 0.75 or not 0.6 < p.width / p.height < 1.7:
        return False
    box = mask[p.top : p.bottom, p.left : p.right]
    for lengths in (box.sum(axis=1).astype(float), box.sum(axis=0).astype(float)):
        n = len(lengths)
        if n < 6:
            continue
        fit = np.polyfit(np.arange(n), lengths, 1)
        left = lengths - np.polyval(fit, np.arange(n))
        total = float(((lengths - lengths.mean()) ** 2).sum())
        if abs(fit[0]) * (n - 1) > 0.65 * lengths.max() and float((left**2).sum()) < 0.15 * total:
            return True
    return False


def _unexplained(places: list[Cell], everything: list[Part], mask: NDArray[np.bool_]) -> str:
    """Strokes in the row that are no digit, minus or small sign, and might be a digit lost.

    A degree ring over a word is as high as a digit, but has no stroke as long as a digit's.
    """
    taken = {id(c.part) for c in places}
    for p in everything:
        if id(p) in taken:
            continue
        near = p.right > places[0].left - 1.2 * TALL and p.left < places[-1].right + 1.2 * TALL
        if p.height > (0.42 if near else 0.62) * TALL and upright(mask, p) > UPRIGHT:
            return "a tall stroke beside the digits is not understood"
        between = places[0].right < p.left and p.right < places[-1].left
        if between and p.height > 0.12 * TALL:
            return "something stands between the digits"
    return ""
