"""What each candidate line of a photo truly is, by holding it against the lines that the simulator knows of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64, I64, U8, Bools
from vision.evidence.candidates import Candidates
from vision.evidence.kinds import KINDS, PLACES
from vision.evidence.raster import Raster
from vision.evidence.strips import COLUMNS, SPAN

ON_MM, NEAR_MM = 1.2, 4.0
"""A candidate within ON_MM (rms) of a line is that line; within NEAR_MM it is neither that nor anything else."""
SHARE = 0.65
"""Part of a line's visible samples that must lie on the candidate."""
LEAST_MM = 25.0
"""Shortest visible piece of a line that a candidate is called after."""
UNSURE = -1
"""Kind of a candidate that is not trained on."""


@dataclass(frozen=True)
class TrueLine:
    """A line of a simulated photo. kind : one of KINDS. pixels : (n, 2) along it, NaN where behind the camera. visible :
    (n,) bool, inside the photo and not hidden."""

    kind: str
    pixels: F64
    visible: Bools

    @classmethod
    def of(cls, record: dict[str, object], of_rib: int = 0) -> TrueLine:
        """From a record of `training.scenes` or `training.drawn`. of_rib : the rib in question, 0 the foremost."""
        kind, rib = str(record["kind"]), record.get("rib")
        if kind in ("chord", "spar") and rib != of_rib:
            kind = "pen"
        if kind == "laser" and rib != of_rib:
            kind = "laser-beyond"
        points = np.array(record["points"], dtype=np.float64)
        points[points < -9e3] = np.nan
        return cls(kind, points, np.array(record["visible"], dtype=bool))


@dataclass(frozen=True)
class Labels:
    """kinds : (n,) index into KINDS, UNSURE where not to be trained on. seen : (n, PLACES) 0 absent, 1 seen, 2 hidden."""

    kinds: I64
    seen: U8


def label(
    raster: Raster, c: Candidates, lines: list[TrueLine], chord_mm: float, middle_mm: F64, forward_right: bool
) -> Labels:
    """The labels of all candidates; parameters as in `vision.evidence.strips.cut_strips`."""
    kinds = np.full(len(c), KINDS.index("nothing"))
    seen = np.zeros((len(c), PLACES), dtype=np.uint8)
    best = np.zeros(len(c))
    ok = [np.isfinite(t.pixels).all(1) for t in lines]
    for line, finite in zip(lines, ok, strict=True):
        at = np.full(line.pixels.shape, np.nan)
        if finite.sum() < 2:
            continue
        at[finite] = raster.index(raster.plane.to_sheet(line.pixels[finite]))
        with np.errstate(invalid="ignore"):
            off = np.abs(c.at(at[:, 0]) - at[:, 1]) * raster.step[1]  # (n, samples) mm
        h, w = raster.grey.shape
        inside = finite & (at[:, 0] >= 0) & (at[:, 0] < w) & (at[:, 1] >= 0) & (at[:, 1] < h)
        shown = inside & line.visible
        if shown.sum() < 2:
            continue
        pace = float(np.nanmedian(np.abs(np.diff(at[inside, 0])))) * raster.step[0]  # mm along a sample
        on = off[:, shown] < 2 * ON_MM
        rms = np.array(
            [np.sqrt(np.mean(o[k] ** 2)) if k.any() else np.inf for o, k in zip(off[:, shown], on, strict=True)]
        )
        length = on.sum(1) * pace
        hit = (on.mean(1) >= SHARE) & (rms < ON_MM) & (length >= LEAST_MM)
        near = ((off[:, shown] < NEAR_MM).mean(1) >= 0.5) & ~hit
        kinds[near & (kinds == KINDS.index("nothing"))] = UNSURE
        worth = length * (10.0 if line.kind in ("chord", "spar", "string") else 1.0)
        for i in np.flatnonzero(hit & (worth > best)):
            best[i] = worth[i]
            kinds[i] = KINDS.index(line.kind)
            seen[i] = _places(raster, at, inside, line.visible, chord_mm, float(middle_mm[i]), forward_right)
    return Labels(kinds.astype(np.int64), seen)


def _places(
    raster: Raster,
    at: F64,
    inside: Bools,
    visible: Bools,
    chord_mm: float,
    middle_mm: float,
    forward_right: bool,
) -> U8:
    """(PLACES,) of a strip: 1 where the line shows, 2 where it goes on hidden, 0 where it is not."""
    mm = at[:, 0] * raster.step[0] + raster.start[0] - middle_mm
    if raster.family == "level" and not forward_right:
        mm = -mm
    pace = SPAN[raster.family] * chord_mm / COLUMNS
    place = np.floor((mm / pace + COLUMNS / 2) / (COLUMNS / PLACES))
    fine = np.full(len(mm), np.nan)
    fine[np.isfinite(place)] = place[np.isfinite(place)]
    out = np.zeros(PLACES, dtype=np.uint8)
    order = np.argsort(mm)
    good = order[np.isfinite(mm[order]) & inside[order]]
    if len(good) < 2:
        return out
    centres = (np.arange(PLACES) + 0.5) * (COLUMNS / PLACES) * pace - SPAN[raster.family] * chord_mm / 2
    within = (centres >= mm[good[0]]) & (centres <= mm[good[-1]])
    share = np.interp(centres, mm[good], visible[good].astype(float))
    out[within] = np.where(share[within] > 0.5, 1, 2)
    return out
