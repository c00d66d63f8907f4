"""The learned witness at work: small networks that say what each strip shows, read by OpenCV.

Several networks, trained alike from different seeds, are asked. The first one is asked about every strip; all of them about
those that it does not dismiss. Where they disagree the mean is taken down by their spread: what looks strange to one of them
is believed less (deep ensembles, Lakshminarayanan et al. 2017). Logits are divided by a temperature fitted on photos of
phones that the networks had not seen (Guo et al. 2017), so that the shares come out as probabilities.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from shared.numerics.arrays import F32, F64
from vision.evidence.kinds import KINDS, PLACES
from vision.evidence.raster import Family

WEIGHTS = Path(__file__).parent / "weights"
DISMISSED = 1e-4
"""Probability of being any line that matters below which the first network's word is enough. Saves time only: hundreds
of times less than what leads to a flag (`GIVE`)."""
NOTHING = tuple(KINDS.index(k) for k in ("edge", "seam", "nothing"))


@dataclass(frozen=True)
class Said:
    """What the witness says of n strips. shares : (n, kinds) probabilities. seen : (n, PLACES) probability that the line
    shows there."""

    shares: F64
    seen: F64

    def of(self, kind: str) -> F64:
        """(n,) probability of a kind."""
        return np.asarray(self.shares[:, KINDS.index(kind)])


def ask(strips: F32, family: Family) -> Said:
    """What strips (n, channels, rows, columns) show.

    family : which of the two networks answers. Probabilities are calibrated (temperature) on photos of other wings.
    """
    nets, temperature = _networks(family)
    if not len(strips):
        return Said(np.zeros((0, len(KINDS))), np.zeros((0, PLACES)))
    logits, states = _forward(nets[0], strips)
    logits, seen = logits / temperature[0], _softmax(states)[:, 1]
    more = np.flatnonzero(1 - _softmax(logits)[:, NOTHING].sum(1) > DISMISSED)
    if len(more) and len(nets) > 1:
        each, views = [logits[more]], [seen[more]]
        for net, t in zip(nets[1:], temperature[1:], strict=True):
            theirs, states = _forward(net, strips[more])
            each.append(theirs / t)
            views.append(_softmax(states)[:, 1])
        logits[more], seen[more] = cautious(np.array(each)), np.mean(views, axis=0)
    return Said(_softmax(logits), seen)


def cautious(each: F64) -> F64:
    """Logits (n, kinds) of several networks (m, n, kinds): their mean, each kind's lead over the others lessened by the
    spread of the networks' own."""
    mean = each.mean(0)
    best = mean.argmax(1)
    rows = np.arange(len(best))
    lead = each[:, rows, best] - np.where(np.eye(each.shape[2], dtype=bool)[best], -np.inf, each).max(2)
    out = mean.copy()
    out[rows, best] -= np.minimum(lead.std(0), np.maximum(lead.mean(0), 0.0))
    return np.asarray(out)


def _forward(net: Any, strips: F32) -> tuple[F64, F64]:
    net.setInput(np.ascontiguousarray(strips))
    kinds, states = net.forward(["kinds", "states"])
    return np.asarray(kinds, dtype=np.float64), np.asarray(states, dtype=np.float64)


def _softmax(logits: F64) -> F64:
    """Along axis 1."""
    e = np.exp(logits - logits.max(axis=1, keepdims=True))
    return np.asarray(e / e.sum(axis=1, keepdims=True), dtype=np.float64)


@cache
def _networks(family: Family) -> tuple[tuple[Any, ...], tuple[float, ...]]:
    """The family's networks and their temperatures."""
    temperature = json.loads((WEIGHTS / "calibration.json").read_text("utf-8"))["temperature"][family]
    nets = tuple(cv2.dnn.readNetFromONNX(str(WEIGHTS / f"{family}-{k}.onnx")) for k in range(len(temperature)))
    return nets, tuple(float(t) for t in temperature)
