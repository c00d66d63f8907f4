"""The decoy set and the good photos by chance: as many as promised, each by its seed, each as meant."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shop import PHONE, draw
from shop.camera import Rays
from shop.chance import good_scene
from shop.decoys import decoys, makers
from shop.jobs import job_for, lens_for

SMALL = PHONE.scaled(0.25)


def test_at_least_three_hundred_decoys_all_different() -> None:
    found = decoys()
    assert len(found) >= 300
    assert len({d.scene.seed for d in found}) == len(found)
    assert {d.right for d in found} == {"angle", "refuse"}
    assert decoys(1)[7].scene == decoys(1)[7].scene
    assert decoys(1)[7].scene != decoys(1, first_seed=1)[7].scene


@pytest.mark.parametrize("kind", list(makers()))
def test_every_kind_changes_the_good_photo_and_can_be_drawn(kind: str) -> None:
    decoy = next(d for d in decoys(1) if d.kind == kind)
    base = good_scene(decoy.scene.seed, "panel", camera=decoy.scene.camera)
    assert decoy.scene != base
    bgr, truth = draw(replace(decoy.scene, camera=SMALL))
    assert bgr.shape == (SMALL.height, SMALL.width, 3) and bgr.dtype == np.uint8
    assert decoy.scene.rib == (len(truth.chord_px) == 2)


def test_what_must_be_refused_lacks_something_that_a_reading_needs() -> None:
    by_kind = {d.kind: d.scene for d in decoys(1)}
    assert by_kind["no chord line"].chord_pen is None
    for kind in ("no string", "cables and no string", "leaning rod and no string"):
        assert by_kind[kind].strings == () and by_kind[kind].laser is None
    assert by_kind["no card"].cards == () and not by_kind["no rib"].rib
    numbers = {c.number for c in by_kind["card of no station"].cards}
    assert not numbers & set(next(d for d in decoys(1) if d.kind == "card of no station").job_cards)
    assert abs(by_kind["two strings, one out of plumb"].strings[1].sway_deg) > 0.5


def test_good_photos_show_what_a_reading_needs_inside_the_picture() -> None:
    for seed in range(12):
        scene = good_scene(seed, "panels" if seed % 2 else "strip", camera=SMALL)
        _, truth = draw(replace(scene, noise=0.0))
        size = np.array([SMALL.width, SMALL.height])
        for points in (truth.chord_px, *truth.cards_px.values()):
            assert np.all(points > 0) and np.all(points < size - 1)
        assert len(truth.strings_px[0]) > 20
        assert np.ptp(truth.strings_px[0][:, 1]) > 0.3 * SMALL.height


def test_job_of_a_scene_knows_its_cards_and_lean() -> None:
    scene = good_scene(3, "panels", lean=True)
    job = job_for(scene)
    assert job.stations[0].cards == tuple(c.number for c in scene.cards)
    assert job.stations[0].lean_deg == scene.lean_deg
    assert job_for(scene, lean_known=False).stations[0].lean_deg is None


def test_lens_profiles_scatter_by_their_own_covariance() -> None:
    """Over many draws (theta - truth) is standard normal along each axis of the covariance."""
    rng = np.random.default_rng(8)
    pulls = []
    for _ in range(300):
        lens = lens_for(PHONE, rng)
        values, vectors = np.linalg.eigh(lens.covariance)
        keep = values > values.max() * 1e-14
        pulls.append((vectors[:, keep].T @ (lens.theta - np.array(PHONE.theta))) / np.sqrt(values[keep]))
    spread = np.std(pulls, axis=0)
    assert np.all(np.abs(spread - 1) < 0.15)  # 300 draws: 4 % expected
    assert lens_for(PHONE).size == (PHONE.width, PHONE.height)


def test_rays_agree_with_the_lens_of_the_project() -> None:
    u, v = Rays(SMALL).grid((100, 50, 104, 53))
    ours = np.stack([u.ravel(), v.ravel()], axis=1)
    y, x = np.mgrid[50:53, 100:104]
    theirs = lens_for(SMALL).rays(np.stack([x.ravel(), y.ravel()], axis=1).astype(float))
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=1e-7)
