"""The inclinometer's calibration profile, and what a shown number is worth with it or without.

Model of the instrument: shown = zero + (1 + scale) * true, plus or minus half the hysteresis according to the
side the angle was approached from. Degrees; angles in the gauge's own counting turned nose-up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from calibration.gauge.sense import Said, meanings
from shared.flags import Flag, FlagCode
from shared.gauge.readings import GaugeReading, Line
from shared.job.model import Gauge, Sense
from shared.quantity import Component, Quantity


@dataclass(frozen=True)
class GaugeProfile:
    """What a calibration found out about one inclinometer.

    ident : the gauge's name. made : ISO 8601 local time of the calibration. valid_days : how long it is
    to be trusted.
    zero_deg, scale, hysteresis_deg : estimates (scale: degrees too many per degree). covariance : (3, 3) of
    these in this order; a parameter that was not measured is 0 with the variance it is allowed.
    measured : the names of those measured. repeatability_deg : standard deviation of one reading beside the
    resolution's. n : readings used. rms_deg : of the residuals. method : how it was made, in words.
    """

    ident: str
    made: str
    zero_deg: float
    scale: float
    hysteresis_deg: float
    covariance: tuple[tuple[float, float, float], ...]
    measured: tuple[str, ...]
    repeatability_deg: float
    resolution_deg: float
    sense: Sense = "nose-up"
    valid_days: float = 90.0
    n: int = 0
    rms_deg: float = math.nan
    method: str = ""

    @property
    def u_zero_deg(self) -> float:
        """Standard uncertainty of the zero error."""
        return math.sqrt(self.covariance[0][0])

    @property
    def u_scale(self) -> float:
        """Standard uncertainty of the scale error."""
        return math.sqrt(self.covariance[1][1])

    @property
    def source(self) -> str:
        """Names the calibration as an uncertainty source."""
        return f"gauge:{self.ident}@{self.made}"


def gauge_quantity(
    shown: Sequence[float],
    station: str,
    line: Line,
    gauge: Gauge,
    profile: GaugeProfile | None = None,
    said: Sequence[Said] = (),
    near: float | None = None,
) -> Quantity:
    """The angle that repeated readings of one line stand for, with its uncertainty in parts.

    said : the word beside each reading, where there was one. Where the convention leaves the sign open, the
    meaning nearest to `near` is taken (the first without it).
    Without a profile a quarter of the variance of `gauge.u_deg` is put down to the gauge's zero, which all
    readings share and repeats do not shrink, the rest to each reading (a convention of this tool, no source).
    """
    if not shown:
        raise ValueError("at least one reading is needed")
    zero, scale = (profile.zero_deg, profile.scale) if profile else (0.0, 0.0)
    sense = profile.sense if profile else gauge.sense
    means = []
    for k, one in enumerate(shown):
        word = said[k] if k < len(said) else None
        options = [(m - zero) / (1 + scale) for m in meanings(one, line, sense, word)]
        means.append(options[0] if near is None else min(options, key=lambda v: abs(v - near)))
    value, n = math.fsum(means) / len(means), len(means)
    here = f"gauge:{station} {line}"
    resolution = (profile.resolution_deg if profile else gauge.resolution_deg) / math.sqrt(12)
    if profile is None:
        return Quantity(
            value,
            (
                Component("gauge zero", f"gauge:{gauge.readings or 'typed'} zero", 0.5 * gauge.u_deg),
                Component("gauge repeatability", f"{here} repeat", math.sqrt(0.75 / n) * gauge.u_deg),
                Component("gauge resolution", f"{here} resolution", resolution),
            ),
        )
    gain = 1 / (1 + scale)
    jacobian = np.array([-gain, -value * gain, 0.0])
    values, vectors = np.linalg.eigh(np.array(profile.covariance))
    loadings = (jacobian @ vectors) * np.sqrt(np.maximum(values, 0.0))
    parts = [
        Component("gauge calibration", f"{profile.source} axis {i}", float(load))
        for i, load in enumerate(loadings)
        if load != 0.0
    ]
    parts.append(Component("gauge repeatability", f"{here} repeat", profile.repeatability_deg * gain / math.sqrt(n)))
    parts.append(Component("gauge resolution", f"{here} resolution", resolution * gain))
    play = abs(profile.hysteresis_deg) / 2
    if play > 0:
        parts.append(Component("gauge hysteresis", f"{here} approach", play * gain))
    return Quantity(value, tuple(parts))


def profile_doubts(profile: GaugeProfile, readings: Sequence[GaugeReading], now: str) -> tuple[Flag, ...]:
    """Why the profile may not belong to these readings: made after them, or too old. Times ISO 8601."""
    made = datetime.fromisoformat(profile.made)
    latest = made + timedelta(days=profile.valid_days)
    times = [datetime.fromisoformat(r.taken).replace(tzinfo=None) for r in readings if r.taken and "T" in r.taken]
    flags = []
    if times and min(times) < made:
        flags.append(
            FlagCode.GAUGE_PROFILE_LATER.flag(
                f"the gauge was calibrated on {profile.made[:10]}, after the first reading ({min(times).date()})"
            )
        )
    last = max(times, default=datetime.fromisoformat(now).replace(tzinfo=None))
    if last > latest:
        flags.append(
            FlagCode.GAUGE_PROFILE_OLD.flag(
                f"the gauge's calibration of {profile.made[:10]} is older than {profile.valid_days:g} days"
            )
        )
    return tuple(flags)
