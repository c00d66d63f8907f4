"""A straight bar on an even ground as an ideal camera sees it: exact integrals over the pixels, and the least
error with which its slope can be told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from shared.numerics.arrays import F64, U8
from vision.image.rectified import Plane

FOCAL = 1000.0


@dataclass(frozen=True)
class Bar:
    """width : px. blur : of the optics, px. above, ink, below : grey levels. below_far : of the lower side at
    the picture's right end (a shadow), None: as at the left one. slope : dy/dx. offset : y at the picture's
    middle column (or (columns,): a line that is not straight). size : columns, rows."""

    width: float = 2.0
    blur: float = 0.8
    above: float = 180.0
    ink: float = 80.0
    below: float = 180.0
    below_far: float | None = None
    slope: float = 0.05
    offset: float | F64 = 30.3
    size: tuple[int, int] = (400, 61)

    def at(self, x: F64 | float) -> F64:
        """y of the bar's middle at x."""
        return self.offset + self.slope * (np.asarray(x, dtype=np.float64) - (self.size[0] - 1) / 2)

    def picture(self) -> F64:
        """(rows, columns) noise-free, in grey levels and parts of them."""
        w, h = self.size
        y, x = np.mgrid[0:h, 0:w].astype(np.float64)
        tilt = np.arctan(self.slope)
        d = (y - self.at(x)) * np.cos(tilt)
        upper = _square(d + self.width / 2, self.blur, tilt)
        lower = _square(d - self.width / 2, self.blur, tilt)
        far = self.below if self.below_far is None else self.below_far
        under = self.below + (far - self.below) * x / (w - 1)
        return np.asarray(self.above * (1 - upper) + self.ink * (upper - lower) + under * lower)

    def noisy(self, sigma: float, rng: np.random.Generator) -> U8:
        """(rows, columns) as a camera stores it."""
        return np.clip(np.rint(self.picture() + rng.normal(0, sigma, self.size[::-1])), 0, 255).astype(np.uint8)

    def ends(self, margin: float = 5.0) -> tuple[F64, F64]:
        """Two points on the bar's middle near the picture's sides."""
        x = np.array([margin, self.size[0] - 1 - margin])
        a, b = np.stack([x, self.at(x)], axis=1)
        return a, b

    def least_slope_error(self, sigma: float, half: float, x: tuple[float, float]) -> float:
        """Cramer-Rao bound of the slope, rad, from columns x[0] to x[1] and rows within `half` of the bar.

        One column tells the centre with information |g'|^2 / sigma^2, g' being the derivative of its grey
        levels by the centre less what the three levels can explain (they are nuisances; Kay 1993, Estimation
        Theory, 3.8). Columns at x with equal information give the slope to 1 / (J sum (x - mean)^2).
        """
        info, phases = 0.0, np.linspace(-0.5, 0.5, 20, endpoint=False)
        for phase in phases:
            y = np.arange(-np.ceil(half), np.ceil(half) + 1) + phase
            y = y[np.abs(y) <= half]

            def levels(c: float, y: F64 = y) -> F64:
                up, low = (_square(y - c + k * self.width / 2, self.blur, 1e-3) for k in (1, -1))
                return np.stack([1 - up, up - low, low], axis=1)

            base, tone = levels(0.0), np.array([self.above, self.ink, self.below])
            g = (levels(1e-4) - levels(-1e-4)) @ tone / 2e-4
            g = g - base @ np.linalg.lstsq(base, g, rcond=None)[0]
            info += float(g @ g) / len(phases) / (sigma**2 + 1 / 12)  # rounding to whole grey levels is noise, too
        column = np.arange(np.ceil(x[0]), np.floor(x[1]) + 1)
        return float(1 / np.sqrt(info * ((column - column.mean()) ** 2).sum()))


def _square(d: F64, blur: float, tilt: float) -> F64:
    """Mean over a pixel, its centre at distance d from a blurred edge tilted by `tilt` rad: the normal cdf
    integrated along both sides of the square, in closed form."""
    a, b = np.sin(tilt) / blur, np.cos(tilt) / blur
    z = d / blur

    def twice(t: F64) -> F64:
        return ((t * t + 1) * ndtr(t) + t * np.exp(-t * t / 2) / np.sqrt(2 * np.pi)) / 2

    return np.asarray(
        (twice(z + (b + a) / 2) - twice(z + (b - a) / 2) - twice(z - (b - a) / 2) + twice(z - (b + a) / 2)) / (a * b)
    )


def flat_plane() -> Plane:
    """A rib plane that the picture shows square on, a pixel a millimetre: sheet points are pixels."""
    return Plane(
        np.array([0.0, 0.0, FOCAL]),
        np.array([1.0, 0, 0]),
        np.array([0, 1.0, 0]),
        np.array([FOCAL, FOCAL, 0, 0, 0, 0, 0, 0, 0.0]),
    )
