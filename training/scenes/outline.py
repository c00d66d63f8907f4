"""The shape of a rib: NACA four-digit outline, lightening holes, the open bays of a built-up rib. Chord coordinates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64

HALF = 120
"""Points along each of the two surfaces."""


@dataclass(frozen=True)
class Outline:
    """A rib's outline. upper, lower : (HALF, 2), chord fraction from the leading edge and height in chords."""

    upper: F64
    lower: F64
    chord: float
    forward: int

    def x(self, frac: float | F64) -> F64:
        """Sheet x of a chord fraction, mm."""
        return np.asarray(self.forward * (self.chord / 2 - np.asarray(frac) * self.chord))

    def up(self, frac: float | F64) -> F64:
        """Height of the upper surface, mm."""
        return np.asarray(np.interp(frac, self.upper[:, 0], self.upper[:, 1]) * self.chord)

    def low(self, frac: float | F64) -> F64:
        """Height of the lower surface, mm."""
        return np.asarray(np.interp(frac, self.lower[:, 0], self.lower[:, 1]) * self.chord)

    def polygon(self) -> F64:
        """The closed outline (n, 2), mm, without a repeated point."""
        ring = np.vstack([self.upper, self.lower[::-1][1:-1]])
        return np.asarray(np.c_[self.x(ring[:, 0]), ring[:, 1] * self.chord])

    def edge(self, side: str, a: float, b: float, inset: float = 0.0, n: int = 40) -> F64:
        """A piece of the upper or lower edge between two fractions, `inset` mm inside it, (n, 2)."""
        f = np.linspace(a, b, n)
        z = self.up(f) - inset if side == "upper" else self.low(f) + inset
        return np.asarray(np.c_[self.x(f), z])


def naca4(code: str, chord: float, forward: int) -> Outline:
    """The outline of a NACA four-digit section (NACA Report 460), closed trailing edge."""
    m, p, t = int(code[0]) / 100, int(code[1]) / 10 or 0.4, int(code[2:]) / 100
    x = 0.5 * (1 - np.cos(np.linspace(0, np.pi, HALF)))
    half = 5 * t * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
    camber = np.where(x < p, m / p**2 * (2 * p * x - x**2), m / (1 - p) ** 2 * ((1 - 2 * p) + 2 * p * x - x**2))
    return Outline(np.c_[x, camber + half], np.c_[x, camber - half], chord, forward)


def holes(o: Outline, taken: list[tuple[float, float]], oblong: bool) -> list[F64]:
    """Lightening holes above the chord line, clear of `taken` spans of chord fractions; rings (n, 2)."""
    rings, a = [], np.linspace(0, 2 * np.pi, 40, endpoint=False)
    for frac, size in ((0.16, 0.024), (0.39, 0.030), (0.47, 0.028), (0.60, 0.022), (0.72, 0.014)):
        top, r = float(o.up(frac)), size * o.chord
        half = r * (2.2 if oblong else 1.0)
        clear = all(frac + half / o.chord < lo or frac - half / o.chord > hi for lo, hi in taken)
        if not clear or r > 0.38 * top:
            continue
        ring = np.c_[r * np.cos(a), r * np.sin(a)]
        if oblong:
            ring[:, 0] += np.sign(np.cos(a)) * (half - r)
        rings.append(ring + [float(o.x(frac)), top * 0.55])
    return rings


def bays(o: Outline, rng: np.random.Generator, stick: float, cap: float) -> tuple[list[F64], list[float]]:
    """The open bays of a built-up rib, rings (n, 2), and the fractions where its uprights stand.

    stick : half width of the stick along the chord line, mm. cap : depth of the strips along the outline, mm.
    """
    posts = [0.07, 0.18, 0.30, 0.42 + float(rng.uniform(-0.02, 0.02)), 0.55, 0.68, 0.80]
    wide = [5.0, 5.0, 14.0, 5.0, 5.0, 5.0, 5.0]
    rings = []
    diagonals = bool(rng.random() < 0.7)
    for k in range(len(posts) - 1):
        a, b = posts[k] + wide[k] / o.chord, posts[k + 1] - wide[k + 1] / o.chord
        for z0, z1 in ((stick, None), (None, -stick)):
            lo = [z0, z0] if z0 is not None else [float(o.low(a)) + cap, float(o.low(b)) + cap]
            hi = [z1, z1] if z1 is not None else [float(o.up(a)) - cap, float(o.up(b)) - cap]
            if min(hi[0] - lo[0], hi[1] - lo[1]) < 15:
                continue
            q = np.array([[o.x(a), lo[0]], [o.x(b), lo[1]], [o.x(b), hi[1]], [o.x(a), hi[0]]], float)
            if diagonals and min(hi[0] - lo[0], hi[1] - lo[1]) > 28:
                split = [q[[0, 1, 2]], q[[0, 2, 3]]] if k % 2 else [q[[0, 1, 3]], q[[1, 2, 3]]]
                rings += [t + (t.mean(0) - t) * min(0.3, 12.0 / float(np.ptp(t[:, 1]) + 1)) for t in split]
            else:
                rings.append(q)
    return rings, posts
