"""From the places of a row to a posterior over what it says.

Signs that are too near to each other to both stand there exclude each other; a figure is one of the patterns of seven
segments that are figures, or none of them; one decimal point at most. What is left over is no number.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import pairwise, product

import numpy as np

from shared.numerics.arrays import F32
from vision.display.cells import INK, KINDS, Places
from vision.display.faded import doubted
from vision.display.types import GLYPHS

SEEN = 0.01
"""Probability from which a sign at a place is reckoned with."""
APART = {("figure", "figure"): 4, ("one", "one"): 4, ("figure", "one"): 3}
"""Least distance of two signs, places: half a figure's height, as the narrowest figures stand; else CLOSE."""
CLOSE = 2
STRANGE = 0.1
"""How likely any one pattern that is no figure is, against any one that is: faulty displays, and networks, err."""
MOST = 24
"""Explanations of a row that are followed."""
PLACE = 0.97
"""Probability that the point stands where the gauge is known to show it; a row read too short or too long moves it."""
SPREAD = 1.45
"""Places at which one sign is seen: training's faces are marked within 2.9 pixels of its middle."""
OWN = 3
"""Places about a sign within which what else is seen is a part of it."""
MINUS, REACH, SMALLEST = 0.4, 24, 2
"""How often there is a minus, how far before the first figure's middle, and the length of a short one, places."""
FAINT = (0.12, 0.3)
"""Ink, as a share of the row's, up to which a sign is one of unlit segments or no ink at all, and from which it may be a faded
one."""
UNLIT = 0.05
"""How likely a sign with so little ink is left: the ground about it may be lit unevenly."""
NEAR = 6
"""Places before the first and after the last figure in which its point may stand."""

_PATTERNS = np.array([[name in lit for name in "abcdefg"] for lit, char in GLYPHS.items() if char != "1"])
_CHARS = [char for char in GLYPHS.values() if char != "1"]


@dataclass(frozen=True)
class Sign:
    """What may stand at a place. chars : what it may be, with probabilities ("?": a pattern that is no figure)."""

    place: int
    kind: str
    probability: float
    chars: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Explained:
    """One explanation of a row: its signs from left to right, and its probability."""

    signs: tuple[tuple[Sign, str], ...]
    probability: float


@dataclass(frozen=True)
class Number:
    """What a row may say, likeliest first: (text, probability); texts with "?", "^", "/" or a minus within are no numbers.

    signs : those of the likeliest, with what each is read as. point : probability with which the likeliest's point is seen
    where it stands, 1 where it has none.
    """

    texts: tuple[tuple[str, float], ...]
    signs: tuple[tuple[Sign, str], ...]
    point: float = 1.0


def signs_in(places: Places) -> list[Sign]:
    """Every sign that may stand in a row, from left to right: local maxima of each kind's probability."""
    found = []
    for kind in range(1, len(KINDS)):
        p = places.kind[kind]
        about = np.pad(p, 2)
        beside = np.stack([about[i : i + len(p)] for i in range(5)])
        # where a sign is but not at which place exactly, its probability is spread over neighbouring places
        whole = np.minimum(np.maximum(p, beside.sum(axis=0) / SPREAD), 1.0)
        for at in np.flatnonzero((p >= beside.max(axis=0)) & (p > SEEN)):
            found.append(Sign(int(at), KINDS[kind], float(whole[at]), _chars(places, int(at), KINDS[kind])))
    return _inked(sorted(found, key=lambda s: s.place), places)


def _inked(signs: list[Sign], places: Places) -> list[Sign]:
    """The signs, those that have too little ink beside the others less likely: all that is lit has one level of ink."""
    ink = [places.ink(s.place, s.kind) if s.kind in INK else np.nan for s in signs]
    sure = [i for s, i in zip(signs, ink, strict=True) if s.kind in ("figure", "one") and s.probability > 0.3]
    if not sure or not np.isfinite(sure).any():
        return signs
    full = max(float(np.nanquantile(sure, 0.75)), 1.0)
    least, enough = FAINT
    share = [1.0 if np.isnan(i) else float(np.clip((i / full - least) / (enough - least), UNLIT, 1.0)) for i in ink]
    return [replace(s, probability=s.probability * f) for s, f in zip(signs, share, strict=True)]


def _chars(places: Places, at: int, kind: str) -> tuple[tuple[str, float], ...]:
    if kind != "figure":
        return (({"one": "1", "minus": "-", "arrow": "^", "slash": "/"}[kind], 1.0),)
    lit = np.clip(places.lit[:, at].astype(np.float64), 1e-4, 1 - 1e-4)
    if places.strip is not None:
        lit = doubted(places.strip, at, lit)
    raw = np.prod(np.where(_PATTERNS, lit, 1 - lit), axis=1)
    weights: dict[str, float] = defaultdict(float)
    for char, weight in zip(_CHARS, raw, strict=True):
        weights[char] += float(weight)
    weights["?"] = STRANGE * max(1.0 - float(raw.sum()), 0.0)
    total = sum(weights.values())
    likely = sorted(((c, w / total) for c, w in weights.items()), key=lambda cw: -cw[1])
    return tuple((c, w) for c, w in likely[:3] if w > 1e-4)


def _exclude(a: Sign, b: Sign) -> bool:
    first, second = sorted((a.kind, b.kind))
    return abs(a.place - b.place) < APART.get((first, second), CLOSE)


def explanations(signs: list[Sign]) -> list[Explained]:
    """The likeliest ways of explaining a row by signs of which no two exclude each other."""
    groups: list[list[Sign]] = []
    for sign in signs:
        if groups and any(_exclude(sign, other) for other in groups[-1]):
            groups[-1].append(sign)
        else:
            groups.append([sign])
    whole = [Explained((), 1.0)]
    for group in groups:
        options = _options(group[:8])
        whole = [Explained(w.signs + o.signs, w.probability * o.probability) for w, o in product(whole, options)]
        whole = sorted(whole, key=lambda e: -e.probability)[:MOST]
    return whole


def _options(group: list[Sign]) -> list[Explained]:
    """The ways of explaining signs that exclude each other by some of them."""
    found = []
    for choice in product((False, True), repeat=len(group)):
        taken = [s for s, c in zip(group, choice, strict=True) if c]
        if any(_exclude(a, b) for i, a in enumerate(taken) for b in taken[i + 1 :]):
            continue
        weight = float(np.prod([s.probability for s in taken]))
        weight *= _empty([s for s in group if s not in taken and not any(_exclude(s, t) for t in taken)])
        for chars in product(*(s.chars for s in taken)):
            sure = weight * float(np.prod([p for _, p in chars]))
            found.append(Explained(tuple((s, c) for s, (c, _) in zip(taken, chars, strict=True)), sure))
    total = sum(f.probability for f in found)
    found = sorted(found, key=lambda f: -f.probability)[:MOST]
    return [Explained(f.signs, f.probability / total) for f in found]


def _empty(signs: list[Sign]) -> float:
    """Probability that none of these signs is there: those of one spot exclude each other, so theirs add."""
    spots: list[list[Sign]] = []
    for sign in signs:
        if spots and all(_exclude(sign, other) for other in spots[-1]):
            spots[-1].append(sign)
        else:
            spots.append([sign])
    return float(np.prod([max(1 - sum(s.probability for s in spot), SEEN / 10) for spot in spots]))


def number_in(places: Places, decimals: int | None) -> Number:
    """The posterior over what a row says. decimals : digits after the point, where the gauge always shows as many."""
    texts: dict[str, float] = defaultdict(float)
    best: dict[str, Explained] = {}
    signs = signs_in(places)
    complete = _complete(signs, places)
    for one in explanations(signs):
        one = Explained(one.signs, one.probability * complete * _seen(one, places))
        for text, probability in _pointed(one, places.point, decimals):
            text = text.strip("^")  # an arrow beside the figures is told by itself
            text = "-" + text.lstrip("-") if text.startswith("--") else text  # one minus, seen twice
            texts[text] += probability
            if text not in best or best[text].probability < one.probability:
                best[text] = one
    likely = sorted(texts.items(), key=lambda tp: -tp[1])[:6]
    text, one = likely[0][0], best[likely[0][0]]
    gap = len(text.partition(".")[0].lstrip("-"))
    seen = _gaps(one, places.point)
    return Number(tuple(likely), one.signs, float(seen[gap]) if "." in text and gap < len(seen) else 1.0)


def _complete(signs: list[Sign], places: Places) -> float:
    """Probability that no sign is left out: none at all where so many are expected besides those looked at (Poisson).

    What may hide in glare is unlikely at any one place, and not in all of them together.
    """
    seen = places.kind[1:4].sum(axis=0)
    for sign in signs:
        seen = np.where(np.abs(np.arange(len(seen)) - sign.place) <= OWN, 0.0, seen)
    return float(np.exp(-seen.sum() / SPREAD))


def _seen(one: Explained, places: Places) -> float:
    """Probability that no minus is lost where the picture shows nothing, before the first figure.

    Where the ground of the figures themselves is as bright, and they are seen all the same, nothing is lost.
    """
    at = [sign.place for sign, char in one.signs if char not in "-^"]
    if not at or any(char == "-" for _, char in one.signs) or np.mean([places.lost[p] for p in at]) > 0.35:
        return 1.0
    before = places.lost[max(at[0] - REACH, 0) : max(at[0] - OWN, 0)]
    return 1.0 - MINUS * float(min(before.sum() / SMALLEST, 1.0))


def _gaps(one: Explained, point: F32) -> F32:
    """(figures + 1,) probability that a point is seen before each figure and after the last."""
    at = [sign.place for sign, char in one.signs if char not in "-^/"]
    if not at:
        return np.zeros(0, np.float32)
    ends = [max(at[0] - NEAR, 0), *at, min(at[-1] + NEAR, len(point))]
    return np.asarray(
        np.clip([point[a + 1 : b].max(initial=0.0) for a, b in pairwise(ends)], 1e-4, 1 - 1e-4), dtype=np.float32
    )


def _pointed(one: Explained, point: F32, decimals: int | None) -> list[tuple[str, float]]:
    """The text of an explanation with its point at each place it may have, or with none."""
    figures = [i for i, (_, char) in enumerate(one.signs) if char not in "-^/"]
    plain = "".join(char for _, char in one.signs)
    if not figures:
        return [(plain, one.probability)]
    seen = _gaps(one, point)
    # a point before the first figure or after the last, or a second one, is no number; gap i stands before figure i
    odds = seen / (1 - seen)
    known = np.full(len(odds), (1 - PLACE) / max(len(odds), 1))
    if decimals is None:
        weights = np.concatenate([[1.0], odds])
    elif decimals == 0:
        weights = np.concatenate([[PLACE], odds * known])
    else:
        if decimals < len(figures):
            known[len(figures) - decimals] = PLACE
        # where the point is known to be, that it is not seen says little
        weights = np.concatenate([[0.0], known * np.maximum(odds, 0.05)])
    two = float(weights[1:].sum() ** 2 - (weights[1:] ** 2).sum()) / 2
    total = float(weights.sum()) + two
    found = [(plain, one.probability * float(weights[0]) / total)] if weights[0] > 0 else []
    for gap in np.flatnonzero(weights[1:] / total > 1e-4):
        cut = figures[gap] if gap < len(figures) else figures[-1] + 1
        found.append((plain[:cut] + "." + plain[cut:], one.probability * float(weights[1 + gap]) / total))
    return found
