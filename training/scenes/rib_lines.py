"""What a builder draws on a rib: the chord line, the spar line, marks, and the lines beside them."""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F64
from training.scenes.rib import SPAR_AT, Rib, Stroke, pen_of
from training.scenes.world import Rgb

PENCIL: Rgb = (0.25, 0.24, 0.23)
Spans = list[tuple[float, float]]


def draw_lines(rib: Rib) -> None:
    """All lines of a rib, the decoys first, as they would be drawn over."""
    waterlines(rib)
    ticks(rib)
    second_line(rib)
    chord_line(rib)
    spar_line(rib)


def chord_line(rib: Rib) -> None:
    """The chord line with its gaps, tape and marks."""
    o, rng = rib.outline, rib.rng("chord line")
    width, dark, rgb = pen_of(rib)
    ends = [0.985, 0.012]  # trailing edge to leading edge
    if rib.has("line_short"):
        ends = [1 - float(rng.uniform(0.02, 0.15)), float(rng.uniform(0.02, 0.15))]
    a, b = np.array([float(o.x(ends[0])), 0.0]), np.array([float(o.x(ends[1])), 0.0])
    gaps = 2 + int(rng.integers(0, 5)) if rib.has("line_gaps") else 0
    spans: Spans = rib.sheet.stroke(a, b, width, dark, rng, float(rng.uniform(0.03, 0.14)), rgb, gaps)
    if rib.has("line_taped"):
        for _ in range(int(rng.integers(1, 3))):
            frac = float(rng.uniform(0.1, 0.9))
            spans.append(tape_across(rib, frac, ends, rng))
    spans += end_marks(rib, ends, rgb)
    rib.mark("chord", a, b, tuple(spans))


def tape_across(rib: Rib, frac: float, ends: list[float], rng: np.random.Generator) -> tuple[float, float]:
    """Masking tape over the chord line; the hidden span."""
    x, turn = float(rib.outline.x(frac)), float(rng.uniform(-15, 15))
    wide = float(rng.choice([12.0, 19.0, 25.0]))
    tape(rib, np.array([x, float(rng.uniform(-8, 8))]), 90 + turn, 70.0, wide, rng)
    half = wide / 2 / np.cos(np.radians(turn)) / rib.spec.chord
    span = abs(ends[0] - ends[1])
    mid = (ends[0] - frac) / span
    return mid - half / span, mid + half / span


def tape(rib: Rib, centre: F64, turn_deg: float, length: float, wide: float, rng: np.random.Generator) -> None:
    """A strip of masking tape, its long edges noted."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    t, n = np.array([c, s]) * length / 2, np.array([-s, c]) * wide / 2
    rgb = [(0.72, 0.62, 0.38), (0.80, 0.78, 0.70), (0.12, 0.25, 0.50), (0.65, 0.55, 0.30)][int(rng.integers(4))]
    rib.sheet.tint([centre - t - n, centre + t - n, centre + t + n, centre - t + n], rgb, 0.96)
    for side in (-1, 1):
        rib.mark("edge", centre - t + side * n, centre + t + side * n, note="tape")


def end_marks(rib: Rib, ends: list[float], rgb: Rgb) -> Spans:
    """Reference marks near the ends of the chord line; the spans that printed ones hide."""
    kind, rng, o = rib.draw.option("marks") if rib.spec.index == 0 else "cross", rib.rng("marks"), rib.outline
    spans: Spans = []
    for frac in (max(0.06, ends[1] + 0.03), min(0.90, ends[0] - 0.03)):
        x = float(o.x(frac))
        if kind == "quartered":
            rib.sheet.paste(quartered(), [x, 0.0], float(rng.uniform(-20, 20)), 16, 16)
            mid, half, span = ends[0] - frac, 8.0 / rib.spec.chord, ends[0] - ends[1]
            spans.append(((mid - half) / span, (mid + half) / span))
        elif kind == "cross":
            rib.sheet.stroke(
                [x + rng.uniform(-0.4, 0.4), -7], [x + rng.uniform(-0.4, 0.4), 7], 0.7, 0.85, rng, 0.05, rgb
            )
    return spans


def quartered(n: int = 128) -> np.ndarray:
    """The printed quartered circle, (n, n, 3)."""
    y, x = np.mgrid[:n, :n] + 0.5 - n / 2
    q = np.where((x * y > 0) & (np.hypot(x, y) < n * 0.48), 0.04, 0.9)
    return np.repeat(q.astype(np.float32)[..., None], 3, 2)


def spar_line(rib: Rib) -> None:
    """The spar line: its angle to the horizontal is `spar`, turned nose-up positive from 90; top aft is positive."""
    if rib.has("spar_absent"):
        return
    o, rng, fw = rib.outline, rib.rng("spar line"), rib.spec.forward
    width, dark, rgb = pen_of(rib)
    rel = np.radians(rib.spec.spar - 90.0 - rib.spec.incidence)
    d = np.array([-fw * np.sin(rel), np.cos(rel)])
    foot = np.array([float(o.x(SPAR_AT)), 0.0])
    cut = 0.0 if rng.random() < 0.6 else float(rng.uniform(0.02, 0.2))
    low, up = (float(o.low(SPAR_AT)) + 2) * (1 - cut), (float(o.up(SPAR_AT)) - 2) * (1 - cut)
    a, b = foot + d * low / d[1], foot + d * up / d[1]
    spans = rib.sheet.stroke(a, b, width, dark, rng, float(rng.uniform(0.02, 0.07)), rgb, int(rng.random() < 0.2))
    rib.mark("spar", a, b, tuple(spans))


def waterlines(rib: Rib) -> None:
    """Pencilled lines somewhat along the chord."""
    if not rib.has("waterlines"):
        return
    rng, c = rib.rng("waterlines"), rib.spec.chord
    for k in range(int(rng.integers(1, 4))):
        z = float(rng.uniform(0.02, 0.055)) * c * (0.6 if k % 2 == 0 else -0.5)
        t, half = np.radians(rng.uniform(-1.5, 1.5)), float(rng.uniform(0.1, 0.25)) * c
        mid = float(rib.outline.x(rng.uniform(0.3, 0.6)))
        a, b = np.array([mid - half, z - np.tan(t) * half]), np.array([mid + half, z + np.tan(t) * half])
        spans = rib.sheet.stroke(a, b, float(rng.uniform(0.3, 0.6)), float(rng.uniform(0.3, 0.6)), rng, 0.15, PENCIL)
        rib.mark("pen", a, b, tuple(spans), "waterline")


def ticks(rib: Rib) -> None:
    """Where stringers will cross."""
    if not rib.has("stringer_ticks"):
        return
    rng, c = rib.rng("ticks"), rib.spec.chord
    for frac in (0.12, 0.42, 0.66):
        x = float(rib.outline.x(frac + rng.uniform(-0.02, 0.02)))
        a, b = [x, 0.01 * c], [x + float(rng.uniform(-2, 2)), 0.03 * c]
        rib.sheet.stroke(a, b, 0.6, 0.6, rng, 0.05)
        rib.mark("pen", a, b, note="tick")


def second_line(rib: Rib) -> None:
    """A pen line of equal right, parallel or nearly so."""
    if not rib.has("second_line"):
        return
    rng, o = rib.rng("second line"), rib.outline
    width, dark, rgb = pen_of(rib)
    dz = float(rng.choice([-1, 1])) * float(rng.uniform(6, 18))
    k = float(rng.uniform(0.3, 1.3))
    a, b = [float(o.x(0.93)), dz * k * 0.5], [float(o.x(0.06)), dz]
    spans = rib.sheet.stroke(a, b, width, dark, rng, 0.1, rgb, 1)
    rib.strokes.append(Stroke("pen", np.array([a, b], float), tuple(spans), "second line"))
