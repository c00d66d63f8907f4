"""Camera against inclinometer over all stations: do they agree, and if not, what does the pattern mean?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np

from calibration.gauge.profile import GaugeProfile, gauge_quantity, profile_doubts
from calibration.gauge.sense import contradictions
from rigging.crosscheck.diagnose import SURE, Weighed, weigh
from rigging.crosscheck.evidence import Noise
from rigging.crosscheck.layout import Layout
from rigging.crosscheck.numbers import en_number, limits_of_agreement
from rigging.crosscheck.types import (
    Agreement,
    CrossCheck,
    Diagnosis,
    Fault,
    Hypothesis,
    Interval,
    Pair,
)
from rigging.crosscheck.words import advice, evidence, of_faults
from shared.flags import FlagCode
from shared.gauge.readings import GaugeReading, GaugeReadings, Line
from shared.job.model import Gauge, Station
from shared.numerics.arrays import F64
from shared.quantity import Quantity, covariance

__all__ = [
    "Agreement",
    "CrossCheck",
    "Diagnosis",
    "Fault",
    "Hypothesis",
    "Interval",
    "Pair",
    "crosscheck",
    "en_number",
    "limits_of_agreement",
]

WORTH_SAYING = 0.05
"""Posterior from which an explanation is listed where none is singled out; MOST_SAID of them at most."""
MOST_SAID = 3
SHARED = ("gauge zero", "gauge calibration")
"""Names of the gauge's components that all its readings share."""


def crosscheck(
    camera: Mapping[tuple[str, Line], Quantity],
    readings: GaugeReadings,
    gauge: Gauge,
    stations: Sequence[Station],
    profile: GaugeProfile | None = None,
    now: str = "",
) -> CrossCheck:
    """Compare the two witnesses at every line that both have read.

    camera : (station, line) -> angle, degrees, chord nose-up positive, spar line 90 + lean. gauge : how the
    inclinometer counts and how good it is. profile : its calibration, applied to the readings. now : ISO
    8601, for the profile's age when the readings carry no time. Stations not in `stations` are left out.
    """
    by_name = {s.name: s for s in stations}
    written: dict[tuple[str, Line], list[GaugeReading]] = {}
    for r in readings.readings:
        written.setdefault((r.station, r.line), []).append(r)
    order = _sequence(readings.readings)
    pairs = []
    for key, group in written.items():
        if key in camera and key[0] in by_name:
            pairs.append(_pair(by_name[key[0]], key[1], camera[key], group, gauge, profile, order[id(group[0])]))
    pairs.sort(key=lambda p: p.order)
    resolution = profile.resolution_deg if profile else gauge.resolution_deg
    flags = list(contradictions(readings.readings, profile.sense if profile else gauge.sense))
    if profile is not None:
        flags.extend(profile_doubts(profile, readings.readings, now or datetime.now().isoformat()))
    sense = profile.sense if profile else gauge.sense
    return CrossCheck(
        pairs=tuple(pairs),
        agreement=limits_of_agreement([p.difference.value for p in pairs]),
        by_line=_by_line(pairs),
        diagnosis=diagnose(pairs, stations, resolution, signless=sense in ("unsigned", "0-90")),
        camera_only=tuple(k for k in camera if k not in written and k[0] in by_name),
        gauge_only=tuple(k for k in written if k not in camera),
        oddities=readings.oddities,
        flags=tuple(flags),
    )


def diagnose(
    pairs: Sequence[Pair], stations: Sequence[Station], resolution: float, signless: bool = False
) -> Diagnosis:
    """What the pattern of the pairs' differences means; silent with fewer than three pairs."""
    if len(pairs) < 3:
        return Diagnosis(None, None, (), "fewer than three lines were read by both witnesses", (), ())
    layout = _layout(pairs, stations, resolution, signless)
    bare = [p.camera - p.gauge.without(*SHARED) for p in pairs]
    found = weigh(layout, _noise(pairs), bare)
    ranked = tuple(_hypothesis(w) for w in found)
    best, second = ranked[0], ranked[1] if len(ranked) > 1 else None
    none = next((h for h in ranked if not h.faults), None)
    worst = max(abs(p.difference.value) / p.difference.u for p in pairs)
    said = evidence(best, none, second, worst)
    if best.probability >= SURE and "scatter" not in best.kinds:
        return Diagnosis(best, second, ranked, None, said, advice(best))
    if best.probability >= SURE:
        return Diagnosis(None, second, ranked, f"no pattern: {best.text}", said, advice(best))
    likely = [h for h in ranked if h.probability >= WORTH_SAYING] or [best]
    why = "open: " + "; or ".join(f"{h.text} ({h.probability:.0%})" for h in likely[:MOST_SAID])
    both = tuple(dict.fromkeys(advice(best) + (advice(second) if second else ())))
    return Diagnosis(None, second, ranked, why, said, both)


def _hypothesis(w: Weighed) -> Hypothesis:
    left = tuple(float(x) for x in w.left_over)
    return Hypothesis(w.faults, w.probability, w.log_evidence, max(map(abs, left)), of_faults(w.faults), left)


def _pair(
    station: Station,
    line: Line,
    seen: Quantity,
    group: list[GaugeReading],
    gauge: Gauge,
    profile: GaugeProfile | None,
    order: int,
) -> Pair:
    shown = [r.shown_deg for r in group]
    read = gauge_quantity(shown, station.name, line, gauge, profile, [r.said for r in group], seen.value)
    difference = seen - read
    flags = []
    if len(group) > 1:
        spread = max(shown) - min(shown)
        limit = 4 * math.hypot(
            read.budget().get("gauge repeatability", 0.0) * math.sqrt(len(group)), gauge.resolution_deg
        )
        flags.append(FlagCode.GAUGE_REPEATS.flag(f"mean of {len(group)} readings, {spread:.2f} deg apart"))
        if spread > limit:
            flags.append(
                FlagCode.GAUGE_REPEATS_DIFFER.flag(f"its readings differ by {spread:.2f} deg, more than {limit:.2f}")
            )
    return Pair(
        station.name,
        station.side,
        line,
        seen,
        read,
        math.fsum(shown) / len(shown),
        difference,
        en_number(seen, read),
        order,
        group[0].taken,
        tuple(flags),
    )


def _by_line(pairs: Sequence[Pair]) -> tuple[tuple[Line, Agreement], ...]:
    lines: tuple[Line, ...] = ("chord", "spar")
    found = [(line, limits_of_agreement([p.difference.value for p in pairs if p.line == line])) for line in lines]
    return tuple((line, a) for line, a in found if a is not None)


def _sequence(readings: Sequence[GaugeReading]) -> dict[int, int]:
    """Place in time of each reading (by id): by its times where all have one, else by the file's order."""
    timed = all(r.taken for r in readings) and len({"T" in (r.taken or "") for r in readings}) == 1
    ordered = sorted(readings, key=lambda r: r.taken or "") if timed else list(readings)
    return {id(r): i for i, r in enumerate(ordered)}


def _layout(pairs: Sequence[Pair], stations: Sequence[Station], resolution: float, signless: bool) -> Layout:
    place = {(p.station, p.line): i for i, p in enumerate(pairs)}
    twin = {
        s.name: t.name
        for s in stations
        for t in stations
        if {s.side, t.side} == {"left", "right"} and abs(s.span_mm - t.span_mm) <= 0.02 * abs(s.span_mm) + 1
    }
    mirror = [place.get((twin.get(p.station, ""), p.line), -1) for p in pairs]
    rank = np.argsort(np.argsort([p.order for p in pairs])).astype(float)
    return Layout(
        stations=tuple(p.station for p in pairs),
        sides=tuple(p.side for p in pairs),
        lines=tuple(p.line for p in pairs),
        camera=np.array([p.camera.value for p in pairs]),
        gauge=np.array([p.gauge.value for p in pairs]),
        shown=np.array([p.shown_deg for p in pairs]),
        when=rank / max(rank.max(), 1.0),
        mirror=np.array(mirror, dtype=np.int64),
        u=np.array([p.difference.u for p in pairs]),
        resolution=resolution,
        signless=signless,
        by_clock=_by_clock(pairs),
    )


ONE_ALONE = 0.2
"""Part of the whole time that the readings must still span without the first or the last of them for a drift by the clock."""


def _by_clock(pairs: Sequence[Pair]) -> F64 | None:
    """(n,) place in time, 0 first to 1 last, where every pair has a date and a time and no single pair spans the time:
    a drift that one reading alone shows is that reading's own error."""
    times = []
    for p in pairs:
        if not p.taken or "T" not in p.taken:
            return None
        times.append(datetime.fromisoformat(p.taken).replace(tzinfo=None).timestamp())
    at = np.array(times) - min(times)
    early, late = np.sort(at)[[1, -2]] if len(at) > 2 else (0.0, 0.0)
    spanned = min(float(late), float(at.max() - early))
    return np.asarray(at / at.max()) if spanned > ONE_ALONE * float(at.max()) else None


def _noise(pairs: Sequence[Pair]) -> Noise:
    """Covariance of the differences, the gauge's shared components apart as loadings by source."""
    own = _covariance([p.camera for p in pairs]) + _covariance([p.gauge.without(*SHARED) for p in pairs])
    parts = [{c.source: c.u for c in p.gauge.components if c.name in SHARED} for p in pairs]
    sources = sorted({s for part in parts for s in part})
    shared = np.array([[part.get(s, 0.0) for s in sources] for part in parts]).reshape(len(pairs), len(sources))
    return Noise(own, shared)


def _covariance(quantities: Sequence[Quantity]) -> F64:
    n = len(quantities)
    found = np.zeros((n, n))
    for i in range(n):
        for j in range(i, n):
            found[i, j] = found[j, i] = covariance(quantities[i], quantities[j])
    return found
