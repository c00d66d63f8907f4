"""Photos that show several ribs tie their stations together: the wing's angles by least squares over all of them at once.

Each reading of a station is its chord angle plus an error, and readings of one photo share the better part of theirs (gravity,
lens, camera; where nothing shows gravity, all of it but the twist). The best linear unbiased estimate of all stations from all
readings with their full covariance (C. R. Rao, Linear Statistical Inference, 4a.2) then carries an angle from a station that
is known well to one that only a common photo ties to it, and along a chain of such photos to the root.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigging.survey.consistency import SIGNIFICANCE
from rigging.survey.least_squares import covariance_matrix, fit_weights
from rigging.survey.repeats import Combined
from shared.flags import Flag, FlagCode, in_doubt
from shared.numerics.arrays import F64
from shared.quantity import Component, Quantity, combine
from shared.reading import Reading

WORTH = 0.95
"""An angle by ties is taken where it brings u below this part of what the station's own photos give."""
OPEN_DEG = 2.0
"""u beyond which an angle is no angle: nothing ties the station to one whose angle is known."""


@dataclass(frozen=True)
class Tie:
    """What a station gains. quantity : its chord angle, None where the ties are at odds. flag : which photos tied it, or why
    they were left out."""

    quantity: Quantity | None
    flag: Flag


@dataclass(frozen=True)
class _Seen:
    """One reading's chord angle, absolute or against an unknown gravity that its photo's other ribs share."""

    station: str
    photo: str
    sha256: str
    quantity: Quantity


def ties_of(readings: Mapping[str, Sequence[Reading]], combined: Mapping[str, Combined]) -> dict[str, Tie]:
    """What photos of several ribs add, by station. readings : of each station, lines as drawn. combined : its own photos'
    chord angle."""
    seen = [s for name, each in readings.items() for s in _usable(name, each, combined[name])]
    out: dict[str, Tie] = {}
    for group in _groups(seen):
        out |= _solved(group, combined)
    return out


def _usable(name: str, readings: Sequence[Reading], own: Combined) -> list[_Seen]:
    """A station's readings that may tie: those that weigh in its own angle, and those without gravity and without doubt."""
    if own.doubtful:
        return []
    used = {p.sha256 for p in own.photos if p.weight > 0}
    out, had = [], set[str]()
    for r in readings:
        sha = r.photo.sha256
        quantity = r.chord.quantity if sha in used else None
        if quantity is None and r.relative is not None and not in_doubt((*r.flags, *r.chord.flags)):
            quantity = r.relative
        if quantity is not None and np.isfinite(quantity.u) and sha not in had:
            had.add(sha)
            out.append(_Seen(name, r.photo.name, sha, quantity))
    return out


def _groups(seen: Sequence[_Seen]) -> list[list[_Seen]]:
    """Readings by stations that common photos tie, directly or along a chain; stations without ties are left out."""
    home: dict[str, str] = {s.station: s.station for s in seen}

    def root(name: str) -> str:
        while home[name] != name:
            name = home[name]
        return name

    first: dict[str, str] = {}
    for s in seen:
        home[root(s.station)] = root(first.setdefault(s.sha256, s.station))
    groups: dict[str, list[_Seen]] = {}
    for s in seen:
        groups.setdefault(root(s.station), []).append(s)
    return [g for g in groups.values() if len({s.station for s in g}) > 1]


def _solved(group: Sequence[_Seen], combined: Mapping[str, Combined]) -> dict[str, Tie]:
    names = list(dict.fromkeys(s.station for s in group))
    quantities = [s.quantity for s in group]
    design = np.array([[float(s.station == n) for n in names] for s in group])
    cov = covariance_matrix(quantities)
    weights = fit_weights(design, cov)
    birge, chance = _consistency(design, weights, np.array([q.value for q in quantities]), cov)
    photos = _tying(group)
    if chance < SIGNIFICANCE:
        text = (
            f"photos of several ribs ({photos}) contradict each other or the stations' own: they tie nothing "
            f"(by chance 1 in {1 / max(chance, 1e-4):.0f})"
        )
        return {n: Tie(None, FlagCode.TIES_DISAGREE.flag(text)) for n in names}
    out = {}
    for name, row in zip(names, weights, strict=True):
        own = combined[name].quantity
        tied = combine([float(w) for w in row], quantities)
        if birge > 1:
            tied = tied.plus(
                Component("photos disagree", f"ties {name} {photos}", np.sqrt(birge**2 - 1) * _apart(tied))
            )
        if tied.u < OPEN_DEG and (own is None or tied.u < WORTH * own.u):
            out[name] = Tie(tied, FlagCode.TIED.flag(f"with photos that show several ribs: {photos}"))
    return out


def _consistency(design: F64, weights: F64, values: F64, cov: F64) -> tuple[float, float]:
    """Birge ratio and the chance of a chi-square as large; 1 and 1 where nothing is left over."""
    dof = len(values) - design.shape[1]
    if dof < 1:
        return 1.0, 1.0
    from scipy.special import chdtrc

    left = values - design @ (weights @ values)
    chi2 = float(left @ np.linalg.solve(cov, left))
    return float(np.sqrt(chi2 / dof)), float(chdtrc(dof, chi2))


def _apart(quantity: Quantity) -> float:
    """u of what photos can differ in: the drawn line's own is the same in all."""
    return quantity.without("pen waviness").u


def _tying(group: Sequence[_Seen]) -> str:
    """The photos that show more than one of the stations, by name."""
    times: dict[str, set[str]] = {}
    for s in group:
        times.setdefault(s.photo, set()).add(s.station)
    return ", ".join(sorted(p for p, stations in times.items() if len(stations) > 1))


def with_tie(own: Combined, tie: Tie | None) -> Combined:
    """A station's own angle with what ties add to it."""
    if tie is None:
        return own
    flags = (*own.flags, tie.flag)
    return (
        replace(own, flags=flags)
        if tie.quantity is None
        else replace(own, quantity=tie.quantity, flags=flags, reason=None)
    )
