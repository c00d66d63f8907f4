"""Small parts that the how-to pictures are put together from: rib, card, string, marks, camera. Greys only.

A picture is a reportlab `Drawing`, so one drawing serves the PDF and, as SVG, the docs. Units: mm on
paper, y up.
"""

from __future__ import annotations

import math

import numpy as np
from reportlab.graphics.shapes import Circle, Drawing, Group, Line, Path, Polygon, PolyLine, Rect, String
from reportlab.lib.colors import Color, black, white

from rigging.printed.pages import BODY, BOLD
from shared.numerics.arrays import F64

BLACK, WHITE = black, white
WOOD, PALE, MID, DARK = (Color(v, v, v) for v in (0.88, 0.95, 0.6, 0.3))


def outline(points: int = 60) -> F64:
    """(2 n - 1, 2) outline of a NACA 2412 in chords, x from the leading edge, y up, closed (NACA TR 460)."""
    x = 0.5 * (1 - np.cos(np.linspace(0, math.pi, points)))
    half = 0.6 * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
    mean = np.where(x < 0.4, 0.125 * (0.8 * x - x**2), 0.02 / 0.36 * (0.2 + 0.8 * x - x**2))
    return np.vstack([np.c_[x, mean + half], np.c_[x, mean - half][::-1][1:]])


def picture(width: float, height: float, *parts: object) -> Drawing:
    """A drawing of this size, mm, with a thin frame."""
    d = Drawing(width, height)
    d.add(Rect(0, 0, width, height, strokeColor=MID, strokeWidth=0.15, fillColor=white))
    for p in parts:
        d.add(p)
    return d


def words(x: float, y: float, text: str, size: float = 2.6, *, bold: bool = False, anchor: str = "start") -> Group:
    """Lines of text ("\\n" breaks them), the first baseline at y."""
    g = Group()
    for k, line in enumerate(text.split("\n")):
        g.add(
            String(
                x,
                y - 1.3 * size * k,
                line,
                fontName=BOLD if bold else BODY,
                fontSize=size,
                textAnchor=anchor,
                fillColor=black,
            )
        )
    return g


def rib(x: float, y: float, chord: float, *, nose_left: bool = False, turn: float = 0.0, lines: bool = True) -> Group:
    """A rib whose mid chord is at (x, y): outline, chord line, spar line; `turn` nose-up in degrees."""
    sign = -1.0 if nose_left else 1.0
    xy = outline()
    pts = np.c_[sign * (0.5 - xy[:, 0]) * chord, xy[:, 1] * chord]
    g = Group(Polygon([float(v) for v in pts.ravel()], fillColor=WOOD, strokeColor=DARK, strokeWidth=0.25))
    if lines:
        g.add(Line(-0.485 * chord, 0, 0.488 * chord, 0, strokeColor=black, strokeWidth=0.25))
        at = sign * 0.2 * chord
        g.add(Line(at, -0.038 * chord, at, 0.075 * chord, strokeColor=black, strokeWidth=0.25))
    g.translate(x, y)
    g.rotate(turn * sign)
    return g


def card(
    x: float, y: float, width: float, *, strip: bool = False, turn: float = 0.0, arrow_left: bool = False
) -> Group:
    """A station card, its sheet's centre at (x, y)."""
    columns, rows = (9, 3) if strip else (7, 5)
    s = width / (columns + 0.6)
    h = rows * s + 0.9 * s
    g = Group(Rect(-width / 2, -h / 2, width, h, fillColor=white, strokeColor=MID, strokeWidth=0.12))
    left, top = -columns * s / 2, h / 2 - 0.25 * s
    for r in range(rows):
        for c in range(columns):
            if (r + c) % 2 == 0:
                g.add(Rect(left + c * s, top - (r + 1) * s, s, s, fillColor=black, strokeWidth=0))
            else:
                g.add(
                    Rect(
                        left + (c + 0.22) * s,
                        top - (r + 0.78) * s,
                        0.56 * s,
                        0.56 * s,
                        fillColor=DARK,
                        strokeWidth=0,
                    )
                )
    low = -h / 2 + 0.3 * s
    g.add(arrow(left, low, -left, low, 0.3))
    g.translate(x, y)
    g.rotate(turn + (180 if arrow_left else 0))
    return g


def arrow(
    x0: float,
    y0: float,
    x1: float,
    y1: float,
    width: float = 0.35,
    *,
    both: bool = False,
    color: Color = black,
) -> Group:
    """A line with a head at its end, or at both ends."""
    g = Group(Line(x0, y0, x1, y1, strokeColor=color, strokeWidth=width))
    a, size = math.atan2(y1 - y0, x1 - x0), max(1.1, 4 * width)
    for (px, py), b in (((x1, y1), a), ((x0, y0), a + math.pi))[: 2 if both else 1]:
        g.add(
            Polygon(
                [
                    px,
                    py,
                    px - size * math.cos(b - 0.35),
                    py - size * math.sin(b - 0.35),
                    px - size * math.cos(b + 0.35),
                    py - size * math.sin(b + 0.35),
                ],
                fillColor=color,
                strokeColor=color,
                strokeWidth=0.01,
            )
        )
    return g


def string(x: float, top: float, bottom: float) -> Group:
    """A plumb line with its bob."""
    return Group(
        Line(x, top, x, bottom, strokeColor=black, strokeWidth=0.3),
        Polygon(
            [x - 1.2, bottom, x + 1.2, bottom, x + 0.9, bottom - 2.2, x, bottom - 4, x - 0.9, bottom - 2.2],
            fillColor=MID,
            strokeColor=black,
            strokeWidth=0.2,
        ),
    )


def mark(x: float, y: float, across: float, turn: float = 0.0) -> Group:
    """A quartered reference mark."""
    r = across / 2
    g = Group(Rect(-r * 1.25, -r * 1.25, 2.5 * r, 2.5 * r, fillColor=white, strokeColor=MID, strokeWidth=0.08))
    for start in (90, 270):
        angles = np.radians(np.linspace(start, start + 90, 13))
        pts = [0.0, 0.0]
        for t in angles:
            pts += [r * math.cos(t), r * math.sin(t)]
        g.add(Polygon(pts, fillColor=black, strokeWidth=0))
    g.translate(x, y)
    g.rotate(turn)
    return g


def phone(x: float, y: float, turn: float = 0.0, size: float = 7.0) -> Group:
    """A phone seen from its edge (from above), looking along +y when turn is 0."""
    g = Group(
        Rect(-size / 2, -size * 0.09, size, size * 0.18, rx=0.3, ry=0.3, fillColor=DARK, strokeWidth=0),
        Circle(size * 0.3, size * 0.12, size * 0.07, fillColor=black, strokeWidth=0),
    )
    g.translate(x, y)
    g.rotate(turn)
    return g


def screen(x: float, y: float, w: float, h: float, *parts: object) -> Group:
    """What the phone shows: a dark rim round (x, y, w, h), its parts drawn over it."""
    g = Group(
        Rect(x - 2, y - 1, w + 4, h + 2, rx=1, ry=1, fillColor=DARK, strokeWidth=0),
        Rect(x, y, w, h, fillColor=PALE, strokeWidth=0),
    )
    for p in parts:
        g.add(p)
    return g


def verdict(x: float, y: float, good: bool, size: float = 4.5) -> Group:
    """A tick or a cross in a ring: legible on a grey printer."""
    g = Group(Circle(x, y, size / 2, fillColor=white, strokeColor=black, strokeWidth=0.3))
    s = size / 5
    if good:
        g.add(
            PolyLine(
                [x - 1.2 * s, y, x - 0.3 * s, y - 1.1 * s, x + 1.4 * s, y + 1.2 * s],
                strokeColor=black,
                strokeWidth=0.6,
            )
        )
    else:
        g.add(Line(x - s, y - s, x + s, y + s, strokeColor=black, strokeWidth=0.6))
        g.add(Line(x - s, y + s, x + s, y - s, strokeColor=black, strokeWidth=0.6))
    return g


def dashed(x0: float, y0: float, x1: float, y1: float) -> Line:
    """A thin dashed line."""
    return Line(x0, y0, x1, y1, strokeColor=MID, strokeWidth=0.2, strokeDashArray=[1.2, 0.8])


def bulb(x: float, y: float, size: float) -> Group:
    """A flash of lightning."""
    p = Path(fillColor=black, strokeWidth=0)
    for k, (a, b) in enumerate(
        [(0.1, 1), (-0.45, -0.1), (-0.05, -0.1), (-0.2, -1), (0.45, 0.2), (0.05, 0.2), (0.4, 1)]
    ):
        (p.moveTo if k == 0 else p.lineTo)(x + a * size, y + b * size)
    p.closePath()
    return Group(p)
