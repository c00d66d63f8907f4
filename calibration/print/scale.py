"""A print's scale from bars measured on it, and what being off does to an angle and to a millimetre."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import stdtrit

from calibration.level.reversal import COVER
from calibration.print.profile import FORMAT, U_SKEW_DEG, U_STRETCH, PrintProfile
from shared.errors import UserError

RULE_U_MM = 0.15
"""Standard uncertainty of a length read off a steel rule: two ends, each to a quarter of a millimetre at most
(common practice, no source)."""
CALIPER_U_MM = 0.03
"""The same with a caliper: 0.02 mm of its own, and where the printed edge is (common practice, no source)."""
FURTHEST = 0.1
"""No printer is off by more than this: then another bar was measured. Printer drivers that fit a page to the paper
shrink it by 3 to 6 % (common practice, no source)."""
BAD_STRETCH, BAD_SKEW_DEG = 0.01, 0.3
"""A printer that stretches or shears more than this is out of order (common practice, no source)."""


@dataclass(frozen=True)
class PrintScale:
    """What the measured bars say.

    scale, u_scale : measured over nominal length, mean of both directions, and its standard uncertainty.
    stretch, u_stretch : of the direction down the sheet against across, relative; NaN where only one was
    measured.
    skew_deg, u_skew_deg : departure of the sheet's corner from 90 deg, positive when the diagonal that starts
    at the lower left is the longer; NaN without diagonals. text : what it does to a reading, line by line.
    """

    scale: float
    u_scale: float
    stretch: float
    u_stretch: float
    skew_deg: float
    u_skew_deg: float
    text: tuple[str, ...]

    @property
    def toml(self) -> str:
        """The lines for the job file, for those who keep no profile."""
        lines = [f"scale = {self.scale:.5f}", f"u_scale = {self.u_scale:.5f}"]
        if math.isfinite(self.stretch):
            lines += [f"stretch = {self.stretch:.5f}", f"u_stretch = {self.u_stretch:.5f}"]
        if math.isfinite(self.skew_deg):
            lines += [f"skew_deg = {self.skew_deg:.3f}", f"u_skew_deg = {self.u_skew_deg:.3f}"]
        return "\n".join(["[cards]", *lines, ""])


@dataclass(frozen=True)
class MeasuredSheet:
    """What was measured on a print, mm: the arguments of `print_scale`."""

    across_mm: Sequence[float]
    down_mm: Sequence[float] = ()
    diagonals_mm: Sequence[float] = ()
    nominal_mm: tuple[float, float] = (100.0, 100.0)
    sides_mm: tuple[float, float] | None = None
    tool: Literal["rule", "caliper"] = "rule"

    def scale(self) -> PrintScale:
        """Scale and squareness of the print. Raises UserError."""
        return print_scale(
            self.across_mm,
            self.down_mm,
            self.diagonals_mm,
            nominal_mm=self.nominal_mm,
            nominal_sides_mm=self.sides_mm,
            tool=self.tool,
        )


def print_scale(
    across_mm: Sequence[float],
    down_mm: Sequence[float] = (),
    diagonals_mm: Sequence[float] = (),
    *,
    nominal_mm: float | tuple[float, float] = 100.0,
    nominal_sides_mm: tuple[float, float] | None = None,
    tool: Literal["rule", "caliper"] = "rule",
) -> PrintScale:
    """Scale and squareness of a print.

    across_mm, down_mm : lengths measured across and down the sheet, repeats allowed: of the printed bars, or of a
    card's board. nominal_mm : the drawn length, or one for each direction. diagonals_mm : of a drawn rectangle of
    `nominal_sides_mm` (width, height): from the lower left, then from the upper left. For a parallelogram of
    sides a, b and corner 90 deg + g, d1^2 - d2^2 = 4 a b sin g.
    The mean of repeats still carries the tool's own error. Raises UserError.

    >>> found = print_scale([99.5, 99.5], [100.0], tool="caliper")
    >>> round(found.scale, 4), round(found.stretch, 4)
    (0.9975, 0.005)
    """
    u_tool = RULE_U_MM if tool == "rule" else CALIPER_U_MM
    drawn = nominal_mm if isinstance(nominal_mm, tuple) else (nominal_mm, nominal_mm)
    kinds = [
        _mean(name, list(values), nominal, u_tool)
        for name, values, nominal in zip(("across", "down"), (across_mm, down_mm), drawn, strict=True)
        if len(values)
    ]
    if not kinds:
        raise UserError(
            "no bar",
            "at least one measured length is needed",
            "measure the printed bar both ways and give --across and --down",
        )
    scale = float(np.mean([s for s, _ in kinds]))
    u = math.sqrt(sum(v * v for _, v in kinds)) / len(kinds)
    stretch = u_stretch = math.nan
    if len(kinds) == 2:
        stretch = kinds[1][0] / kinds[0][0] - 1
        u_stretch = math.hypot(kinds[0][1], kinds[1][1])
    else:
        u = math.hypot(u, U_STRETCH / 2)  # the other direction is unmeasured
    skew = u_skew = math.nan
    if len(diagonals_mm):
        skew, u_skew = _skew(diagonals_mm, nominal_sides_mm, scale, u_tool)
    return PrintScale(
        scale, u, stretch, u_stretch, skew, u_skew, tuple(_words(scale, u, stretch, u_stretch, skew, u_skew))
    )


def print_profile(measured: MeasuredSheet, ident: str, date: str) -> PrintProfile:
    """The profile of a measured print: what was found and what it was found from. date : ISO 8601 day.

    Raises UserError as `print_scale`.

    measured : lengths and diagonals of a printed sheet, mm. ident : the profile's name.
    """
    result = measured.scale()

    def known(value: float) -> float | None:
        return value if math.isfinite(value) else None

    return PrintProfile(
        FORMAT, ident, result.scale, result.u_scale, known(result.stretch), known(result.u_stretch),
        known(result.skew_deg), known(result.u_skew_deg), measured.tool, tuple(measured.across_mm),
        tuple(measured.down_mm), tuple(measured.diagonals_mm), measured.nominal_mm, tuple(measured.sides_mm or ()), date,
        notes=result.text,
    )  # fmt: skip


def angle_error_deg(stretch: float, turn_deg: float) -> float:
    """Error of an angle measured against a card stretched along one side, degrees.

    turn_deg : of the line to the card's long side. A stretch s turns a line by 1/2 s sin(2 turn) rad (first
    order); the most, at 45 deg, is 0.286 deg for 1 %.

    >>> round(angle_error_deg(0.01, 45.0), 3)
    0.286
    """
    return math.degrees(0.5 * stretch * math.sin(2 * math.radians(turn_deg)))


def _mean(name: str, values: list[float], nominal: float, u_tool: float) -> tuple[float, float]:
    if nominal <= 0 or any(not math.isfinite(v) or v <= 0 for v in values):
        raise UserError(f"bar {name}", "lengths must be positive", "give millimetres")
    mean = float(np.mean(values)) / nominal
    if abs(mean - 1) > FURTHEST:
        raise UserError(
            f"bar {name}: {np.mean(values):.1f} mm for {nominal:g} mm",
            f"a print is not off by over {100 * FURTHEST:.0f} %",
            "measure between the end strokes, in millimetres, and give --nominal",
        )
    scatter = 0.0
    n = len(values)
    if n > 1:
        scatter = float(np.std(values, ddof=1)) / math.sqrt(n) * float(stdtrit(n - 1, (1 + COVER) / 2)) / 2
    return mean, math.hypot(u_tool, scatter) / nominal


def _skew(
    diagonals: Sequence[float], sides: tuple[float, float] | None, scale: float, u_tool: float
) -> tuple[float, float]:
    if len(diagonals) != 2 or sides is None:
        raise UserError(
            "diagonals",
            "both diagonals and the drawn sides of their rectangle are needed",
            "give --diagonals D1 D2 --sides W H",
        )
    a, b = sides[0] * scale, sides[1] * scale
    d1, d2 = diagonals
    sine = (d1 * d1 - d2 * d2) / (4 * a * b)
    if abs(sine) > FURTHEST or abs(math.hypot(d1, d2) / math.hypot(a, b) / math.sqrt(2) - 1) > FURTHEST:
        raise UserError(
            f"diagonals {d1:g} and {d2:g} mm",
            f"do not belong to sides of {sides[0]:g} and {sides[1]:g} mm",
            "measure corner to corner",
        )
    u = math.hypot(2 * d1, 2 * d2) * u_tool / (4 * a * b)
    return math.degrees(math.asin(sine)), math.degrees(u)


def _words(scale: float, u: float, stretch: float, u_stretch: float, skew: float, u_skew: float) -> list[str]:
    out = [
        f"printed at {100 * scale:.2f} % of true scale (U {200 * u:.2f} %)",
        f"a millimetre read off the photo without this would be {100 * abs(scale - 1):.2f} % out; an even "
        f"scale turns no "
        "angle: 1 % of it is 1 % of a millimetre and 0 deg",
    ]
    if math.isfinite(stretch):
        out.append(
            f"down the sheet {100 * stretch:+.2f} % against across (U {200 * u_stretch:.2f} %): left out, it would turn "
            f"a line at 5 deg to the card by {abs(angle_error_deg(stretch, 5)):.3f} deg, one at 45 deg by "
            f"{abs(angle_error_deg(stretch, 45)):.3f} deg, and feign a tilt of a card seen square-on of "
            f"{math.degrees(math.acos(1 / (1 + abs(stretch)))):.1f} deg"
        )
    else:
        out.append(f"the other direction is not measured: U allows for {200 * U_STRETCH:.1f} % of stretch")
    if math.isfinite(skew):
        out.append(
            f"corner off a right angle by {skew:+.3f} deg (U {2 * u_skew:.3f} deg): left out, it would turn plumb "
            f"against chord by as much"
        )
    else:
        out.append(f"the diagonals are not measured: U allows for corners {2 * U_SKEW_DEG:.1f} deg off square")
    if u_stretch > U_STRETCH or u_skew > U_SKEW_DEG:
        out.append(
            "so measured it is known no better than unmeasured: take calipers, or a longer line (--card, the whole board)"
        )
    if abs(stretch) > BAD_STRETCH or abs(skew) > BAD_SKEW_DEG:
        out.append("no printer in order does that: print it again at 100 %, or on another printer")
    if abs(scale - 1) > 0.03:
        out.append("over 3 % off: the print dialog scaled the page; print it again at 100 %")
    return out
