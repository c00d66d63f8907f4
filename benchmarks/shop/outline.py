"""Rib outlines: the NACA four-digit family."""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F64


def naca_four_digit(code: str, points: int = 120) -> tuple[F64, F64, F64]:
    """Upper and lower ordinates of a four-digit section, in chords (NACA TR 460, 1933).

    Returns x (0 leading edge to 1 trailing edge), upper, lower, each (points,). Thickness is laid off
    vertically, not square to the mean line: near enough for a rib of wood.
    """
    m, p, t = int(code[0]) / 100, int(code[1]) / 10, int(code[2:]) / 100
    x = 0.5 * (1 - np.cos(np.linspace(0, np.pi, points)))
    half = 5 * t * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1015 * x**4)
    mean = np.zeros_like(x)
    if m > 0 and 0 < p < 1:
        mean = np.where(x < p, m / p**2 * (2 * p * x - x**2), m / (1 - p) ** 2 * ((1 - 2 * p) + 2 * p * x - x**2))
    return x, mean + half, mean - half
