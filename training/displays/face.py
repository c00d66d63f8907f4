"""Draws the face of a segment display from distances to its segments, with the place of every sign.

Face frame: one unit is the height of a figure; x right, y down, y = 0 at the figures' top and 1 at their foot. Pixels of
the photo are carried back into that frame and coloured by their distance to each shape, so no picture is ever warped.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from shared.numerics.arrays import F32

FIGURES = {"0": "abcdef", "1": "bc", "2": "abdeg", "3": "abcdg", "4": "bcfg", "5": "acdfg", "6": "acdefg", "7": "abc",
           "8": "abcdefg", "9": "abcdfg"}  # fmt: skip
KINDS = ("none", "figure", "one", "minus", "arrow", "slash")
"""What may stand at a place of the row; "one" is a 1, whose place is that of its stroke."""
UNDECIDED = 2
"""Label of a segment whose ink is between lit and unlit: no one can say which it is."""


@dataclass(frozen=True)
class Style:
    """Shape of the figures, in figure heights; slant in degrees.

    level, upright : stroke of level and upright segments; bevel : how much a segment's end is cut, 0 square, 1 at 45 deg;
    inward : how much more it is cut at the inner side; gap : between segments; waist : height of the middle segment;
    dotted : spacing of the dots a segment is made of, 0 where it is whole.
    """

    width: float
    level: float
    upright: float
    bevel: float
    inward: float
    round: float
    gap: float
    waist: float
    slant: float
    dotted: float


@dataclass
class Sign:
    """A sign on the face: kind of KINDS, the x of its place, its height, and segments a to g (0, 1, UNDECIDED)."""

    kind: str
    x: float
    size: float = 1.0
    lit: tuple[int, ...] = (0,) * 7


@dataclass
class Face:
    """What a face shows. shapes : (distance function's name, numbers, ink) of everything that has ink.

    span : x of the first and the last ink of the row. points : x of every decimal point. small : figures are those
    of a second, lower row.
    """

    style: Style
    text: str
    signs: list[Sign] = field(default_factory=list)
    points: list[float] = field(default_factory=list)
    shapes: list[tuple[str, tuple[float, ...], float]] = field(default_factory=list)
    span: tuple[float, float] = (0.0, 0.0)


def draw_style(rng: np.random.Generator) -> Style:
    """Any shape that segment displays have."""
    width = float(rng.uniform(0.40, 0.70))
    level = float(rng.uniform(0.06, min(0.2, 0.30 * width)))
    kind = rng.choice(3, p=[0.3, 0.45, 0.25])
    return Style(
        width=width, level=level, upright=float(np.clip(level * rng.uniform(0.75, 1.3), 0.05, 0.36 * width)),
        bevel=float((0.0, rng.uniform(0.5, 1.1), rng.uniform(0.1, 0.5))[kind]),
        inward=float(rng.choice([0.0, rng.uniform(0.3, 1.0)])), round=float(rng.choice([0.0, rng.uniform(0.1, 0.9)])),
        gap=float(rng.choice([rng.uniform(0.0, 0.03), rng.uniform(0.02, 0.07)])), waist=float(rng.uniform(0.47, 0.53)),
        slant=float(rng.choice([0.0, rng.uniform(0, 14), rng.uniform(4, 12)])),
        dotted=float(level * rng.uniform(0.8, 1.4)) if rng.random() < 0.03 else 0.0,
    )  # fmt: skip


def segment_boxes(s: Style) -> dict[str, tuple[float, float, float, float, float]]:
    """Middle (x, y), half length, half stroke and turn (0 level, 1 upright, sign: side of the figure) of a to g."""
    h, v = s.level / 2, s.upright / 2
    long = s.width / 2 - (s.gap + (0.0 if s.bevel > 0.2 else 2 * v))
    if s.bevel > 0.2:
        long = s.width / 2 - s.gap - 0.35 * v
    up, low = s.waist - h, 1 - s.waist - h
    top = (s.waist + (0.0 if s.bevel > 0.2 else h)) / 2
    foot = (1 + s.waist - (0.0 if s.bevel > 0.2 else h)) / 2
    shrink = 0.15 * h if s.bevel > 0.2 else h / 2 + 0.25 * h
    f_long, e_long = (s.waist / 2 - s.gap - shrink), ((1 - s.waist) / 2 - s.gap - shrink)
    del up, low
    w = s.width
    return {"a": (w / 2, h, long, h, 0.0), "g": (w / 2, s.waist, long - 0.3 * v, h, 0.5), "d": (w / 2, 1 - h, long, h, -0.1),
            "f": (v, top, f_long, v, 1.0), "b": (w - v, top, f_long, v, -1.0), "e": (v, foot, e_long, v, 1.0),
            "c": (w - v, foot, e_long, v, -1.0)}  # fmt: skip


class _Row:
    """Puts signs side by side."""

    def __init__(self, face: Face, rng: np.random.Generator) -> None:
        self.face, self.rng, s = face, rng, face.style
        self.boxes = segment_boxes(s)
        self.space = float(rng.uniform(0.1, 0.42)) + 0.3 * s.upright
        self.x = 0.0
        self.ghost = 0.0 if rng.random() < 0.55 else float(rng.uniform(0.02, 0.18))
        self.faults = rng.random() < 0.22
        self.dot = float(np.clip(rng.uniform(0.75, 1.3) * s.level, 0.055, 0.2))
        self.dot_kind = str(rng.choice(["box", "disc", "disc", "comma"]))
        self.dot_down = float(rng.choice([0.0, rng.uniform(-0.03, 0.08)]))
        self.dot_at = float(rng.uniform(0.25, 0.75))
        self.ghost_dots = rng.random() < 0.5
        self.point_room = float(rng.choice([0.0, 0.0, rng.uniform(0.05, 0.3)]))
        self.serif7 = rng.random() < 0.12
        self.tail6, self.tail9 = rng.random() < 0.92, rng.random() < 0.92

    def segments(self, lit: str, size: float = 1.0, x: float | None = None) -> tuple[int, ...]:
        """Ink of one figure's cell; what each segment is."""
        at = self.x if x is None else x
        labels = []
        for name in "abcdefg":
            ink, label = (self.ghost, 0) if name not in lit else (1.0, 1)
            if label and self.faults and self.rng.random() < 0.06:
                ink = float(self.rng.uniform(0.42, 0.9))
            if self.faults and self.rng.random() < 0.04:
                ink, label = float(self.rng.uniform(0.2, 0.4)), UNDECIDED
            cx, cy, long, half, turn = self.boxes[name]
            if ink > 0:
                top = 1 - size
                self.face.shapes.append(("bar", (at + cx * size, top + cy * size, long * size, half * size, turn), ink))
            labels.append(label)
        return tuple(labels)

    def figure(self, char: str, size: float = 1.0) -> None:
        """One figure, and on to the next place."""
        s, lit = self.face.style, FIGURES[char]
        lit = lit + "f" if char == "7" and self.serif7 else lit
        lit = lit.replace("a", "") if char == "6" and not self.tail6 else lit
        lit = lit.replace("d", "") if char == "9" and not self.tail9 else lit
        labels = self.segments(lit, size)
        if char == "1":
            self.face.signs.append(Sign("one", self.x + (s.width - s.upright / 2) * size, size, labels))
        else:
            self.face.signs.append(Sign("figure", self.x + s.width / 2 * size, size, labels))
        if self.ghost and self.ghost_dots:
            self._dot(self.x + s.width * size + self.dot_at * self.space, self.ghost)
        self.x += s.width * size + self.space

    def blank(self) -> None:
        """A place with nothing lit."""
        self.segments("")
        self.x += self.face.style.width + self.space

    def point(self) -> None:
        """A decimal point in the space after the last figure."""
        self.x += self.point_room
        x = self.x - self.space + self.dot_at * (self.space + 0.0) - self.point_room * (1 - self.dot_at)
        self.face.points.append(x)
        self._dot(x, 1.0 if self.rng.random() < 0.93 else float(self.rng.uniform(0.5, 0.9)))

    def _dot(self, x: float, ink: float) -> None:
        r = self.dot / 2
        y = 1 - r + self.dot_down
        kind = self.dot_kind
        self.face.shapes.append(
            ("disc" if kind != "box" else "bar", (x, y, r, r, 0.0) if kind == "box" else (x, y, r), ink)
        )
        if kind == "comma":
            self.face.shapes.append(("bar", (x - 0.2 * r, y + 1.3 * r, 1.3 * r, 0.5 * r, 1.2), ink))

    def minus(self) -> None:
        """A minus: the middle segment of a place of its own, or a bar of its own."""
        s, rng = self.face.style, self.rng
        if rng.random() < 0.5:
            self.segments("g")
            x, w = self.x + s.width / 2, s.width
        else:
            w = float(rng.uniform(0.22, 0.6))
            x = self.x + w / 2
            half = 0.5 * s.level * float(rng.uniform(0.7, 1.3))
            y = s.waist + float(rng.choice([0.0, rng.uniform(-0.06, 0.06)]))
            self.face.shapes.append(("bar", (x, y, w / 2 - half, half, 0.5), 1.0 if rng.random() < 0.93 else 0.6))
        self.face.signs.append(Sign("minus", x))
        self.x += w + self.space * float(rng.choice([1.0, rng.uniform(0.5, 1.5)]))


def draw_text(rng: np.random.Generator) -> str:
    """What stands on the face: any figures, point and sign, more often as inclinometers show them."""
    n = int(rng.choice([1, 2, 3, 4, 5], p=[0.05, 0.22, 0.36, 0.29, 0.08]))
    pool = "0123456789" if rng.random() < 0.75 else "0011458896713789"
    figures = "".join(rng.choice(list(pool)) for _ in range(n))
    decimals = int(rng.choice([0, 1, 2, 3], p=[0.12, 0.58, 0.25, 0.05]))
    if 0 < decimals < n:
        figures = figures[: n - decimals] + "." + figures[n - decimals :]
    return ("-" if rng.random() < 0.38 else "") + figures


def draw_face(rng: np.random.Generator) -> Face:
    """A face: blanks, sign, figures, point, and what stands beside them."""
    face = Face(draw_style(rng), draw_text(rng))
    row = _Row(face, rng)
    blanks = int(rng.integers(1, 3)) if rng.random() < 0.3 else 0
    minus_first = rng.random() < 0.5
    if face.text[0] == "-" and minus_first:
        row.minus()
    for _ in range(blanks):
        row.blank()
    if face.text[0] == "-" and not minus_first:
        row.minus()
    bare = face.text.lstrip("-")
    lower = float(rng.uniform(0.55, 0.85)) if "." in bare and rng.random() < 0.08 else 1.0
    for i, char in enumerate(bare):
        if char == ".":
            row.point()
        else:
            row.figure(char, lower if i == len(bare) - 1 else 1.0)
    if rng.random() < 0.03:
        _fraction(row, rng)
    face.span = (min(0.0, *(s.x for s in face.signs)), row.x - row.space)
    _beside(face, rng)
    return face


def _fraction(row: _Row, rng: np.random.Generator) -> None:
    """A fraction after the figures, as on gauges that show inches per foot."""
    row.x += 0.1
    size = float(rng.uniform(0.5, 1.0))
    row.figure(str(rng.integers(1, 8)), size)
    x = row.x - row.space / 2 + 0.12
    row.face.shapes.append(("line", (x - 0.12, 1.0, x + 0.12, 1 - size, 0.35 * row.face.style.level), 1.0))
    row.face.signs.append(Sign("slash", x))
    row.x = x + 0.12 + row.space / 2
    row.figure(str(rng.choice([2, 4, 8])), size)


def _beside(face: Face, rng: np.random.Generator) -> None:
    """Degree ring, arrows, plus, battery, bars, rings and a second, lower row."""
    first, last = face.span
    if rng.random() < 0.35:
        r = float(rng.uniform(0.07, 0.15))
        face.shapes.append(
            ("ring", (last + float(rng.uniform(0.06, 0.3)) + r, r, r, float(rng.uniform(0.25, 0.5)) * r), 1.0)
        )
    if rng.random() < 0.2:
        side = float(rng.choice([-1, 1]))
        size = float(rng.uniform(0.11, 0.4))
        x = first - float(rng.uniform(0.25, 0.6)) if side < 0 else last + float(rng.uniform(0.3, 0.7))
        y = float(rng.choice([rng.uniform(0.15, 0.85), rng.uniform(0.42, 0.58)]))
        way = float(rng.choice([-1, 1])) * float(rng.uniform(0.7, 1.5))
        face.shapes.append(("triangle", (x, y, size, way, float(rng.random() < 0.3)), 1.0))
        face.signs.append(Sign("arrow", x))
    if rng.random() < 0.03 and face.text[0] != "-":
        size = float(rng.uniform(0.14, 0.3))
        for box in ((first - 0.4, 0.5, size, 0.04, 0.0), (first - 0.4, 0.5, size, 0.04, 1.0)):
            face.shapes.append(("bar", box, 1.0))
    if rng.random() < 0.15:
        x, y = float(rng.uniform(first - 0.5, last)), float(rng.choice([-0.3, 1.3])) + float(rng.uniform(-0.1, 0.1))
        face.shapes.append(("frame", (x, y, 0.16, 0.08, 0.02), 1.0))
        face.shapes.append(("bar", (x - 0.05, y, 0.06, 0.045, 0.0), 1.0))
    if rng.random() < 0.05:
        y = float(rng.choice([-0.35, 1.35])) + float(rng.uniform(-0.1, 0.1))
        face.shapes.append(("bar", ((first + last) / 2, y, float(rng.uniform(0.3, 1.2)), 0.02, 0.0), 1.0))
    if rng.random() < 0.06:
        _second_row(face, rng)


def _second_row(face: Face, rng: np.random.Generator) -> None:
    size, first = float(rng.uniform(0.25, 0.5)), face.span[0]
    low = 1 + float(rng.uniform(0.25, 0.5)) + size if rng.random() < 0.6 else -float(rng.uniform(0.25, 0.5))
    for i in range(int(rng.integers(2, 5))):
        x = first + 0.3 + i * (face.style.width + 0.2) * size
        for name in FIGURES[str(rng.integers(0, 10))]:
            cx, cy, long, half, turn = segment_boxes(face.style)[name]
            face.shapes.append(("bar", (x + cx * size, low - size + cy * size, long * size, half * size, turn), 1.0))


def distance(kind: str, n: tuple[float, ...], x: F32, y: F32, style: Style) -> F32:
    """Signed distance of points to a shape, negative inside."""
    if kind == "disc":
        return np.asarray(np.hypot(x - n[0], y - n[1]) - n[2], np.float32)
    if kind == "ring":
        return np.asarray(np.abs(np.hypot(x - n[0], y - n[1]) - n[2] + n[3] / 2) - n[3] / 2, np.float32)
    if kind == "frame":
        d = np.maximum(np.abs(x - n[0]) - n[2], np.abs(y - n[1]) - n[3])
        return np.asarray(np.abs(d) - n[4], np.float32)
    if kind == "triangle":
        u, v = (y - n[1], x - n[0]) if n[4] else (x - n[0], y - n[1])
        u, v = np.abs(u), v * n[3]
        return np.asarray(np.maximum(0.83 * u + 0.55 * (v - n[2] / 2), -v - n[2] / 2), np.float32)
    if kind == "line":
        p, q = np.array(n[:2]), np.array(n[2:4])
        way = (q - p) / max(float(np.linalg.norm(q - p)), 1e-6)
        along = np.clip((x - p[0]) * way[0] + (y - p[1]) * way[1], 0, float(np.linalg.norm(q - p)))
        return np.asarray(np.hypot(x - p[0] - along * way[0], y - p[1] - along * way[1]) - n[4], np.float32)
    cx, cy, long, half, turn = n
    upright = abs(turn) == 1.0 or turn > 1.1
    u, v = (y - cy, x - cx) if upright else (x - cx, y - cy)
    side = {0.0: 1.0, -0.1: -1.0, 0.5: 0.0}.get(turn, turn if upright else 0.0)
    cut = style.bevel * np.abs(v) + style.inward * style.bevel * side * v
    r = style.round * half
    d = np.maximum(
        np.abs(v) - (half - r), (np.abs(u) + cut - (long + half * style.bevel * 0.5 - r)) / np.sqrt(1 + style.bevel**2)
    )
    if r > 0:
        d = np.where(d > 0, np.hypot(np.maximum(np.abs(v) - (half - r), 0), np.maximum(d, 0)), d) - r
    if style.dotted:
        d = np.maximum(
            d, 0.42 * style.dotted - np.abs((u / style.dotted + 0.5) % 1 - 0.5) * style.dotted - 0.2 * style.dotted
        )
    return np.asarray(d, np.float32)


def extent(kind: str, n: tuple[float, ...]) -> tuple[float, float, float, float]:
    """Box (x0, y0, x1, y1) that a shape lies in."""
    if kind == "line":
        return min(n[0], n[2]) - n[4], min(n[1], n[3]) - n[4], max(n[0], n[2]) + n[4], max(n[1], n[3]) + n[4]
    reach = {"disc": n[2], "ring": n[2], "triangle": 1.6 * n[2], "frame": max(n[2:4]) + 0.03}.get(kind)
    if reach is None:
        reach_x, reach_y = (n[3], n[2] + n[3]) if abs(n[4]) == 1.0 or n[4] > 1.1 else (n[2] + n[3], n[3])
        return n[0] - reach_x, n[1] - reach_y, n[0] + reach_x, n[1] + reach_y
    return n[0] - reach, n[1] - reach, n[0] + reach, n[1] + reach
