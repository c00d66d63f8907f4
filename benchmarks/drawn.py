"""Drawn photos, read; by class."""

from __future__ import annotations

import time

import numpy as np
from measured import Measured, measured_of
from shop import PHONE_12, draw
from shop.chance import good_scene
from shop.jobs import job_for, lens_for

from vision.reader import read_photo

CLASSES = (
    "drawn: one panel",
    "drawn: one strip",
    "drawn: two panels",
    "drawn: two strips",
    "drawn: laser line",
    "drawn: leaning, lean given",
    "drawn: leaning, lean not given",
)


def measure_drawn(group: str, seed: int) -> list[Measured]:
    """Draw one 12-megapixel photo of a class and read it through a lens profile drawn by chance."""
    leaning = "leaning" in group
    cards = {"drawn: one strip": "strip", "drawn: two panels": "panels", "drawn: two strips": "strips"}.get(
        group, "panel"
    )
    scene = good_scene(seed, cards, "laser" if "laser" in group else "plumb", PHONE_12, leaning)  # type: ignore[arg-type]
    bgr, truth = draw(scene)
    job = job_for(scene, u_lean_deg=0.1 if leaning else 0.3, lean_known="not given" not in group)
    start = time.perf_counter()
    reading = read_photo(bgr, job, lens=lens_for(scene.camera, np.random.default_rng(seed)))
    angles = {"chord": truth.chord_deg, "spar": truth.spar_deg}
    return measured_of(reading, f"drawn {seed}", group, angles, time.perf_counter() - start)
