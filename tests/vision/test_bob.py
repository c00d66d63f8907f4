"""A bob is told from a rod's end and from what a rod passes; a string not seen to hang is doubted far from the design."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from shop import PHONE, CardAt, Cord, Pen, Scene, String, draw
from shop.jobs import job_for, lens_for
from shop.scene import Laser

from calibration.level.reversal import reversal, save_level
from shared.job.model import Level
from vision.image.rectified import Plane
from vision.level.bob import bob_seen
from vision.reader import read_photo

PX = 3.0
"""Pixels a millimetre."""
PLANE = Plane(
    np.array([0.0, 0.0, 600.0]),
    np.array([1.0, 0, 0]),
    np.array([0, 1.0, 0]),
    np.array([600 * PX, 600 * PX, 300.0, 300.0, 0, 0, 0, 0, 0]),
)
LEAN = 0.03
"""The string's slope in the picture."""
END = 330
"""The string's last row."""
BOBS = {
    "ball": [(-10, 4), (-7, 9), (0, 12), (7, 9), (10, 4)],
    "cone": [(-12, 8), (-8, 10), (30, 1)],
    "rod with a tip": [(-15, 4), (25, 4), (32, 1)],
    "nut": [(-4, 6), (4, 6)],
}
"""Outlines: heights about the middle and half breadths, mm."""


STRING = PLANE.to_sheet(np.array([[300 + LEAN * (y - 300), y] for y in (110.0, 200.0)]))
"""Two points of it, as measured above and about the rib."""


def picture(bob: str | None, behind: bool, seed: int = 5) -> np.ndarray:
    """(600, 600) a dark string to row END, a bob below it, what stands behind, and noise."""
    image = np.full((600, 600), 150.0)
    if behind:  # a box whose edge the string passes, floor boards, a shadow beside
        image[240:, 180:330] = 95.0
        image[420:425] = 60.0
        image[200:, 350:362] = 120.0
    line = [300 + LEAN * (y - 300) for y in (0, END)]
    cv2.line(image, (round(line[0] * 16), 0), (round(line[1] * 16), END * 16), (40.0,), 4, cv2.LINE_AA, 4)
    if bob is not None:
        shape = np.array(BOBS[bob], dtype=float) * PX
        y = END + shape[:, 0] - shape[0, 0]
        x = 300 + LEAN * (END - 300)
        ring = np.concatenate([np.c_[x - shape[:, 1], y], np.c_[x + shape[:, 1], y][::-1]])
        cv2.fillPoly(image, [np.rint(ring).astype(np.int32)], (60.0,), cv2.LINE_AA)
    image = cv2.GaussianBlur(image, (0, 0), 0.9)
    return np.clip(image + np.random.default_rng(seed).normal(0, 2.5, image.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("behind", [False, True])
@pytest.mark.parametrize("bob", list(BOBS))
def test_bobs_of_any_turned_shape_are_seen(bob: str, behind: bool) -> None:
    assert bob_seen(picture(bob, behind), PLANE, STRING)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("behind", [False, True])
def test_the_bare_end_of_a_rod_is_no_bob(behind: bool, seed: int) -> None:
    assert not bob_seen(picture(None, behind, seed), PLANE, STRING)


def test_a_body_that_the_line_runs_on_past_is_no_bob() -> None:
    image = picture("ball", False)
    cv2.line(image, (302, END), (308, 599), (40,), 4, cv2.LINE_AA)
    assert not bob_seen(image, PLANE, STRING)


SHOP = Scene(
    seed=72,
    camera=PHONE,
    chord_mm=640.0,
    chord_deg=0.4,
    spar_deg=None,
    cards=(CardAt("panel", 4, 0.46, 1.0),),
    clutter=2,
    chord_pen=Pen(0.8, cover=0.9, wave_mm=0.05, gaps=1),
    marks="none",
    holes=False,
    label="R1",
    yaw_deg=5.0,
    pitch_deg=-3.0,
    roll_deg=2.0,
    aim=(15.0, 10.0),
    wall_mm=700.0,
    strings=(String(150.0, 20.0, 0.8, (0.06, 0.06, 0.07), shadow=0.0),),
)


def codes(scene: Scene, off_deg: float, level: Level | None = None, folder: Path | None = None) -> set[str]:
    """Of the reading, where the design is so far from the truth."""
    job = replace(job_for(scene), level=level or Level(), folder=folder or Path())
    job = replace(job, stations=(replace(job.stations[0], chord_deg=scene.chord_deg + off_deg),))
    reading = read_photo(draw(scene)[0], job, lens=lens_for(PHONE))
    assert reading.chord.quantity is not None, reading.chord.reason
    return {f.code for f in (*reading.flags, *reading.chord.flags)}


def test_a_string_with_its_bob_may_show_an_angle_far_from_the_design() -> None:
    assert codes(SHOP, 1.2) == set()


def test_a_rod_is_doubted_where_the_angle_is_far_from_the_design_and_only_there() -> None:
    rod = Cord((150.0, -20.0, -130.0), (150.0, -20.0, 1800.0), 0.9, (0.06, 0.06, 0.07), behind=False)
    scene = replace(SHOP, strings=(), cords=(rod,))
    assert codes(scene, 1.2) == {"no-bob"}
    assert codes(scene, 0.5) == set()


def test_a_string_whose_upper_end_stands_in_the_picture_is_doubted_too() -> None:
    short = replace(SHOP.strings[0], top_mm=150.0)
    assert codes(replace(SHOP, strings=(short,)), 0.1) == {"hangs-from-nothing"}


@pytest.mark.parametrize(
    ("off_deg", "profile", "doubts"), [(1.2, False, {"level-unchecked"}), (1.2, True, set()), (0.5, False, set())]
)
def test_a_laser_nobody_has_checked_is_doubted_where_the_angle_is_far_from_the_design(
    off_deg: float, profile: bool, doubts: set[str], tmp_path: Path
) -> None:
    scene = replace(SHOP, strings=(), laser=Laser(-11.0), exposure=0.65, spar_deg=None)
    save_level(
        tmp_path / "level.json", reversal((0.02, 0.03), (0.0, 0.01), ident="laser", date="2026-05-16", kind="laser")
    )
    level = Level(profile="level.json") if profile else Level()
    assert codes(scene, off_deg, level, tmp_path) == doubts
