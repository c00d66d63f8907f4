"""Drawn photos, read; by class."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
from measured import Measured, measured_of
from shop import PHONE_12, draw
from shop.chance import good_scene, with_shop_errors
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
    """Draw one 12-megapixel photo of a class and read it.

    Lens profile, string, card's seat and the job's statement of the lean are each off by a draw from their
    stated uncertainty.
    """
    leaning = "leaning" in group
    cards = {"drawn: one strip": "strip", "drawn: two panels": "panels", "drawn: two strips": "strips"}.get(
        group, "panel"
    )
    rng = np.random.default_rng([seed, 31])
    plain = good_scene(seed, cards, "laser" if "laser" in group else "plumb", PHONE_12, leaning)  # type: ignore[arg-type]
    scene = with_shop_errors(plain, rng)
    bgr, truth = draw(scene)
    u_lean = 0.1 if leaning else 0.3
    told = replace(scene, lean_deg=scene.lean_deg + float(rng.normal(0, u_lean)))
    job = job_for(told, u_lean_deg=u_lean, lean_known="not given" not in group)
    start = time.perf_counter()
    reading = read_photo(bgr, job, lens=lens_for(scene.camera, rng))
    angles = {"chord": truth.chord_deg, "spar": truth.spar_deg}
    return measured_of(reading, f"drawn {seed}", group, angles, time.perf_counter() - start)
