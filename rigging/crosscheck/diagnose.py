"""Weighs every explanation of the differences and names one only when the data single it out."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigging.crosscheck.evidence import Catalogue, Noise, Stack, corrected, log_evidence, pair_up, stack, with_noise
from rigging.crosscheck.faults import candidates
from rigging.crosscheck.layout import Candidate, Layout
from rigging.crosscheck.priors import PRIOR_NONE
from rigging.crosscheck.types import Fault
from shared.numerics.arrays import F64, I64, Bools
from shared.quantity import Quantity, combine

SURE = 0.60
"""Posterior probability from which an explanation is named."""
SECOND = math.log(0.6)
"""Price of a second fault beside the first, beyond both priors."""
BEAM = 10
"""How many of the best single faults are tried together with every other."""


@dataclass(frozen=True)
class Weighed:
    """One explanation: its faults with sizes, posterior, log evidence, and what it leaves over (n,) in u."""

    faults: tuple[Fault, ...]
    probability: float
    log_evidence: float
    left_over: F64


def weigh(layout: Layout, noise: Noise, differences: Sequence[Quantity], keep: int = 6) -> list[Weighed]:
    """The most probable explanations, best first. differences : camera - gauge without the gauge's zero."""
    found = _posterior(layout, noise, keep)
    return [_described(layout, noise, differences, f) for f in found]


@dataclass(frozen=True)
class _Found:
    """An explanation: its posterior, its likeliest form, that form's log evidence and its share of it."""

    probability: float
    faults: tuple[Candidate, ...]
    evidence: float
    share: float


def _posterior(layout: Layout, noise: Noise, keep: int) -> list[_Found]:
    """The most probable explanations, best first."""
    every = candidates(layout)
    name, form = _names(every, _identity), _names(every, _form)
    noisy = np.array([c.noisy for c in every])
    known = Catalogue.of(every)
    single = stack(every)
    evidence = _evidence(layout, noise, every, single)
    n = len(every)
    first, second = [np.zeros(n, dtype=np.int64)], [np.arange(n)]
    weights, evidences = [evidence + single.prior], [evidence]
    beam = _best_distinct(name, weights[0])
    for done, at in enumerate(beam):
        for others, loud in _company(noise, every, name, noisy, at, beam[:done]):
            s = pair_up(known, at, others, SECOND - math.log(PRIOR_NONE))
            e = log_evidence(layout, loud, s)
            first.append(np.full(len(others), at))
            second.append(others)
            weights.append(e + s.prior)
            evidences.append(e)
    a, b = np.concatenate(first), np.concatenate(second)
    weight, evidence = np.concatenate(weights), np.concatenate(evidences)
    low, high = np.minimum(name[a], name[b]), np.maximum(name[a], name[b])
    _, group = np.unique(low * n + high, return_inverse=True)
    low, high = np.minimum(form[a], form[b]), np.maximum(form[a], form[b])
    _, alike = np.unique(low * n + high, return_inverse=True)
    weight = weight - weight.max()
    total = np.log(np.bincount(group, np.exp(weight)) + 1e-300)
    same = np.log(np.bincount(alike, np.exp(weight)) + 1e-300)
    order = np.argsort(-weight, kind="stable")
    _, where = np.unique(group[order], return_index=True)
    best = order[where]
    ranked = np.argsort(-total, kind="stable")[:keep]
    norm = np.exp(total).sum()
    return [
        _Found(
            float(np.exp(total[g]) / norm),
            tuple(every[i] for i in dict.fromkeys((a[k], b[k])) if i or not b[k]),
            float(evidence[k]),
            float(np.exp(same[alike[k]] - total[g])),
        )
        for g, k in ((g, best[g]) for g in ranked)
    ]


Words = tuple[str | tuple[str, ...] | None, ...]


def _names(every: list[Candidate], of: Callable[[Fault], Words]) -> I64:
    """(n,) a number for each fault; the same for faults of which `of` says the same. 0: no fault."""
    known: dict[Words, int] = {}
    return np.array([known.setdefault(of(f), len(known)) for f in (c.fault for c in every)])


def _identity(f: Fault) -> Words:
    """What makes two faults one.

    How a station was misread, which lines a swap took along, where a step or a slip began, does not; nor
    whether all plumb readings are off, or the scale, which makes them so and leaves level ones alone.
    """
    if f.kind == "station":
        return f.kind, f.line, f.stations
    if f.kind == "swap":
        return f.kind, f.stations
    if f.kind in ("step", "slip"):
        return f.kind, f.line
    if f.kind == "scale" or (f.kind == "offset" and f.line == "spar" and f.side is None):
        return ("spar lines",)
    return f.kind, f.line, f.side, f.variant, f.stations


def _form(f: Fault) -> Words:
    """What else a fault is described by."""
    return f.kind, f.line, f.side, f.variant, f.stations


def _evidence(layout: Layout, noise: Noise, every: list[Candidate], s: Stack) -> F64:
    found = np.full(len(every), -np.inf)
    plain = np.array([not c.noisy for c in every])
    found[plain] = log_evidence(layout, noise, _rows(s, plain))
    for i in np.flatnonzero(~plain):
        found[i] = log_evidence(layout, with_noise(noise, every[i]), _rows(s, np.array([i])))[0]
    return found


def _company(
    noise: Noise, every: list[Candidate], name: I64, noisy: Bools, at: int, done: list[int]
) -> list[tuple[I64, Noise]]:
    """Which others to weigh together with candidate `at`, by noise.

    Others are of another kind or place, only one of two is noisy, and pairs weighed before are left out.
    """
    a = every[at]
    skip = {int(name[i]) for i in (at, *done)} | {0}
    # one name, one place: each fault of several assumed sizes is judged once
    first = np.unique(name, return_index=True)[1]
    barred = [n for n, i in enumerate(first) if n in skip or _same_place(a, every[i])]
    allowed = ~np.isin(name, barred)
    plain = np.flatnonzero(allowed & ~noisy)
    groups = [(plain, with_noise(noise, a))] if len(plain) else []
    if not a.noisy:
        groups += [(np.array([i]), with_noise(noise, every[i])) for i in np.flatnonzero(allowed & noisy)]
    return groups


def _same_place(a: Candidate, b: Candidate) -> bool:
    """Two faults that would undo or repeat each other."""
    f, g = a.fault, b.fault
    whole = ("sign", "complement", "sense")
    if f.kind in whole and g.kind in whole and not f.stations and not g.stations:
        return True
    return f.kind == g.kind == "offset" or (bool(f.stations) and f.stations == g.stations and f.line == g.line)


def _best_distinct(name: I64, weight: F64) -> list[int]:
    """The best-weighed candidate of each of the BEAM best faults."""
    chosen: dict[int, int] = {}
    for at in np.argsort(-weight):
        if name[at] and len(chosen) < BEAM:
            chosen.setdefault(int(name[at]), int(at))
    return list(chosen.values())


def _rows(s: Stack, which: I64) -> Stack:
    return Stack(s.order[which], s.sign[which], s.shift[which], s.patterns[which], s.prior[which])


def _described(
    layout: Layout,
    noise: Noise,
    differences: Sequence[Quantity],
    found: _Found,
) -> Weighed:
    """Sizes by generalised least squares, each a `Quantity` with the camera's own sources kept.

    A form that has no clear share of its explanation is not told: a station is then misread, and how is open.
    """
    combo = found.faults
    if found.share < SURE:
        combo = tuple(replace(c, fault=_blunt(c.fault)) for c in combo)
    real = [c for c in combo if c.fault.kind != "none"]
    s = stack(combo[:1]) if len(combo) == 1 else pair_up(Catalogue.of(combo), 0, np.array([1]), 0.0)
    loud = noise
    for c in real:
        loud = with_noise(loud, c) if c.noisy else loud
    inverse = np.linalg.inv(loud.own)
    right = corrected(layout, s)[0]
    residual = right - layout.camera
    sized = [(i, c) for i, c in enumerate(combo) if np.any(c.pattern != 0)]
    faults = {id(c): c.fault for c in real}
    if sized:
        design = np.stack([s.patterns[0, :, i] / np.abs(s.patterns[0, :, i]).max() for i, _ in sized], axis=1)
        # two faults of one pattern share its size between them
        weights = np.linalg.pinv(design.T @ inverse @ design, hermitian=True) @ design.T @ inverse
        residual = residual - design @ (weights @ (right - layout.camera))
        for row, (_, c) in zip(weights, sized, strict=True):
            moved = [-d for d in differences]
            size = combine([float(w) for w in row], moved)
            size = size.shifted(float(row @ (right - layout.camera)) - size.value)
            faults[id(c)] = replace(c.fault, size=size)
    for c in real:
        if c.fault.kind == "station" and faults[id(c)].size is None:
            i = next(
                i
                for i, at in enumerate(zip(layout.stations, layout.lines, strict=True))
                if at == (c.fault.stations[0], c.fault.line)
            )
            faults[id(c)] = replace(c.fault, size=-differences[i])
    ordered = sorted((faults[id(c)] for c in real), key=lambda f: (bool(f.stations), f.kind))
    spread = np.sqrt(np.diag(loud.own) + (loud.shared**2).sum(axis=1))
    return Weighed(tuple(ordered), found.probability, found.evidence, residual / spread)


def _blunt(f: Fault) -> Fault:
    if f.kind == "station":
        return replace(f, variant="")
    if f.kind == "step":
        return replace(f, variant=f"about {f.variant}")
    return f
