"""Jobs and lenses that belong to drawn scenes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.lens.model import Lens
from shared.job.model import Job, Station, Wing
from shop.camera import Camera
from shop.scene import Scene


def job_for(
    scene: Scene, cards: Sequence[int] | None = None, u_lean_deg: float | None = 0.3, lean_known: bool = True
) -> Job:
    """A job whose only station is the scene's rib: design angles rounded to half degrees of the truth.

    cards : numbers of the station's cards, those in the scene by default.
    """
    numbers = tuple(cards) if cards is not None else tuple(c.number for c in scene.cards) or (1,)
    station = Station(
        name=scene.label,
        side="right" if scene.forward > 0 else "left",
        span_mm=1000.0,
        chord_mm=scene.chord_mm,
        cards=numbers,
        chord_deg=round(scene.chord_deg * 2) / 2,
        chord_tolerance_deg=0.25,
        spar_deg=None if scene.spar_deg is None else 90.0,
        spar_tolerance_deg=None if scene.spar_deg is None else 0.25,
        spar_at=None if scene.spar_deg is None else scene.spar_at,
        lean_deg=scene.lean_deg if lean_known else None,
        u_lean_deg=u_lean_deg if lean_known else None,
    )
    return Job(Wing("drawn", scene.label), (station,))


def lens_for(camera: Camera, rng: np.random.Generator | None = None) -> Lens:
    """A lens profile as a good calibration leaves it: the true lens moved by one draw from its covariance.

    rng : None gives the true values, with the same covariance.
    """
    f = camera.focal
    u = np.array([4e-4 * f, 4e-4 * f, 3e-4 * f, 3e-4 * f, 0.002, 0.008, 1e-4, 1e-4, 0.008])
    correlation = np.eye(9)
    correlation[0, 1] = correlation[1, 0] = 1.0  # one focal length
    for i, j, r in ((4, 5, -0.8), (5, 8, -0.8), (4, 8, 0.6)):
        correlation[i, j] = correlation[j, i] = r
    covariance = correlation * np.outer(u, u)
    theta = np.array(camera.theta)
    if rng is not None:
        values, vectors = np.linalg.eigh(covariance)
        theta = theta + vectors @ (np.sqrt(np.maximum(values, 0)) * rng.standard_normal(9))
    return Lens(
        f"{camera.make} {camera.model} {camera.width}x{camera.height}".lower().replace(" ", "-"),
        (camera.width, camera.height),
        theta,
        covariance,
    )
