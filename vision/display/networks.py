"""The two small networks beside this file, run by OpenCV. How they are trained: `training/displays`."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from threading import Lock

import cv2
import numpy as np

from shared.numerics.arrays import F32

_ONE_AT_A_TIME = Lock()
"""A network of OpenCV keeps its state between input and answer."""


@cache
def _network(name: str) -> cv2.dnn.Net:
    return cv2.dnn.readNetFromONNX(str(Path(__file__).with_name(f"{name}.onnx")))


def answer(name: str, images: F32) -> F32:
    """What a network ("finder", "cells") says of images (n, channels, h, w): (n, channels, h, w), before any squashing."""
    with _ONE_AT_A_TIME:
        net = _network(name)
        net.setInput(images)
        return np.array(net.forward(), dtype=np.float32)


def squashed(x: F32) -> F32:
    """Probability of a logit."""
    return np.asarray(1 / (1 + np.exp(-np.clip(x, -30, 30))), dtype=np.float32)
