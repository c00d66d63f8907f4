"""What must not change an angle, and what must: mirrors, turns, scale, light.

A rib and its mirror image have the same nose-up angle, the other leading-edge direction, and stand on the other
wing. Everything here is drawn at 3 megapixels, a small rib close by.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st
from PIL import Image
from shop import PHONE, Camera, CardAt, Pen, Scene, String, draw
from shop.jobs import job_for, lens_for
from shop.photo_file import exif_of

from rigging.batch.find import Source
from rigging.preflight.photo import check_photo
from shared.numerics.arrays import U8
from shared.quantity import Quantity
from shared.reading import Reading
from vision.cards.mirrored import is_mirrored
from vision.image.photo import open_photo
from vision.level.upright import StringAtEdges, way_up
from vision.reader import read_photo

SHOP = Scene(
    seed=71,
    camera=PHONE,
    chord_mm=620.0,
    chord_deg=0.62,
    spar_deg=90.4,
    cards=(CardAt("panel", 4, 0.46, 1.0),),
    clutter=2,
    chord_pen=Pen(0.8, cover=0.9, wave_mm=0.05, gaps=1),
    spar_pen=Pen(0.8, cover=0.9, wave_mm=0.03, gaps=0),
    marks="none",
    holes=False,
    label="R1",
    yaw_deg=5.0,
    pitch_deg=-3.0,
    roll_deg=2.0,
    aim=(15.0, 10.0),
    strings=(String(150.0, 20.0, 0.8, (0.06, 0.06, 0.07), shadow=0.0),),
    wall_mm=700.0,
)
"""The design angle will be 0.5: minus the true angle would pass for it as well."""
JOB, LENS = job_for(SHOP), lens_for(PHONE)
TURNS = {90: cv2.ROTATE_90_CLOCKWISE, 180: cv2.ROTATE_180, 270: cv2.ROTATE_90_COUNTERCLOCKWISE}
TAG_TO_SHOW_UPRIGHT = {90: 8, 180: 3, 270: 6}


@cache
def shown() -> U8:
    """(h, w, 3) BGR."""
    return draw(SHOP)[0]


@cache
def upright() -> Reading:
    return read_photo(shown(), JOB, lens=LENS)


def chord_of(reading: Reading) -> Quantity:
    assert reading.chord.quantity is not None, reading.chord.reason
    return reading.chord.quantity


def codes(reading: Reading) -> set[str]:
    return {f.code for f in (*reading.flags, *reading.chord.flags)}


def saved(folder: Path, bgr: U8, tag: int | None = None) -> Path:
    """The pixels as a PNG, with an EXIF orientation or without any EXIF."""
    path = folder / "photo.png"
    exif = {} if tag is None else {"exif": exif_of(PHONE, "2026:05:16 09:00:00", tag)}
    Image.fromarray(np.ascontiguousarray(bgr[..., ::-1])).save(path, compress_level=1, **exif)
    return path


def test_the_photo_itself_is_right_and_undoubted() -> None:
    reading = upright()
    assert abs(chord_of(reading).value - SHOP.chord_deg) < 2 * chord_of(reading).u
    assert codes(reading) == set() and reading.forward == "right"
    assert abs(SHOP.chord_deg) > 4 * chord_of(reading).u  # else minus the angle would be as right


# --- mirrors ---


def mirrored_scene(scene: Scene) -> Scene:
    """The rib of the other wing as a mirror beside the first would show it."""
    theta = list(scene.camera.theta)
    theta[2] = scene.camera.width - 1 - theta[2]
    theta[7] = -theta[7]  # p2 shifts sideways
    camera: Camera = replace(scene.camera, theta=tuple(theta))
    return replace(
        scene,
        camera=camera,
        forward=-scene.forward,
        yaw_deg=-scene.yaw_deg,
        roll_deg=-scene.roll_deg,
        aim=(-scene.aim[0], scene.aim[1]),
        cards=tuple(replace(c, turn_deg=-c.turn_deg) for c in scene.cards),
        strings=tuple(replace(s, x_mm=-s.x_mm) for s in scene.strings),
    )  # type: ignore[arg-type]


def test_the_mirror_image_of_a_rib_gives_the_same_angles_on_the_other_side() -> None:
    scene = mirrored_scene(SHOP)
    reading = read_photo(draw(scene)[0], job_for(scene), lens=lens_for(scene.camera))
    one, other = chord_of(upright()), chord_of(reading)
    assert reading.forward == "left" and codes(reading) == set()
    # pen, paper and noise are drawn anew; lens and lean are the same and cancel
    assert abs(one.value - other.value) < 2 * math.hypot(one.u, other.u)
    assert abs(other.value - SHOP.chord_deg) < 2 * other.u
    assert other.u == pytest.approx(one.u, rel=0.25)
    a, b = upright().spar.quantity, reading.spar.quantity
    assert a is not None and b is not None
    assert abs(a.value - b.value) < 2 * math.hypot(a.u, b.u)


@pytest.mark.parametrize("axis", [1, 0])
def test_a_mirrored_photo_is_not_measured_but_named(axis: int, tmp_path: Path) -> None:
    """Side to side and top to bottom: markers turned inside out belong to no card."""
    flipped = cv2.flip(shown(), axis)
    reading = read_photo(flipped, JOB, lens=LENS)
    assert reading.chord.quantity is None and "mirrored" in (reading.chord.reason or "")
    assert not is_mirrored(cv2.cvtColor(shown(), cv2.COLOR_BGR2GRAY))
    if axis == 1:
        path = saved(tmp_path, flipped, 1)
        check = check_photo(Source(path, path.name), JOB)
        assert [t.code for t in check.troubles] == ["mirrored"] and not check.fit


def test_a_photo_without_a_card_is_not_called_mirrored() -> None:
    blank = cv2.GaussianBlur(shown(), (0, 0), 12)
    reading = read_photo(blank, JOB, lens=LENS)
    assert "mirrored" not in (reading.chord.reason or "") and "card" in (reading.chord.reason or "")


@pytest.mark.parametrize("tag", [2, 4, 5, 7])
def test_a_photo_stored_mirrored_and_tagged_so_is_read_as_it_is_meant(tag: int, tmp_path: Path) -> None:
    """CIPA DC-008: these tags tell to mirror the stored pixels back; the lens goes with the picture as shown here."""
    back = {
        2: lambda p: cv2.flip(p, 1),
        4: lambda p: cv2.flip(p, 0),
        5: lambda p: cv2.transpose(p),
        7: lambda p: cv2.flip(cv2.transpose(p), -1),
    }[tag]
    picture = open_photo(saved(tmp_path, back(shown()), tag))
    np.testing.assert_array_equal(picture.gray, open_photo(saved(tmp_path, shown(), 1)).gray)


# --- turns ---


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_a_turn_that_the_tag_tells_of_changes_nothing(turn: int, tmp_path: Path) -> None:
    """Stored turned, with the EXIF orientation that turns it back: the same pixels, the same angles, to the last bit."""
    stored = cv2.rotate(shown(), TURNS[turn])
    reading = read_photo(open_photo(saved(tmp_path, stored, TAG_TO_SHOW_UPRIGHT[turn])), JOB, lens=LENS)
    plain = read_photo(open_photo(saved(tmp_path, shown(), 1)), JOB, lens=LENS)
    assert chord_of(reading).value == pytest.approx(chord_of(plain).value, abs=1e-9)
    assert chord_of(reading).u == pytest.approx(chord_of(plain).u, rel=1e-6)
    assert codes(reading) == codes(plain) == set()


@pytest.mark.parametrize("turn", [90, 270])
def test_a_photo_laid_on_its_side_by_hand_is_refused_with_the_remedy(turn: int, tmp_path: Path) -> None:
    reading = read_photo(
        open_photo(saved(tmp_path, cv2.rotate(shown(), TURNS[turn]))), JOB, lens=LENS.turned(6 if turn == 90 else 8)
    )
    assert reading.chord.quantity is None
    assert "turn the photo upright" in (reading.chord.reason or "")


def test_a_photo_turned_on_its_head_by_hand_is_refused_or_doubted(tmp_path: Path) -> None:
    """Its angle would have the other sign."""
    turned = cv2.rotate(shown(), cv2.ROTATE_180)
    for tag in (None, 1):
        reading = read_photo(open_photo(saved(tmp_path, turned, tag)), JOB, lens=LENS.turned(3))
        assert reading.chord.quantity is None or codes(reading) & {"upside-down", "line-doubtful"}


def test_a_file_that_does_not_tell_its_way_up_is_read_by_its_string(tmp_path: Path) -> None:
    """No EXIF: the bob within the picture is enough."""
    reading = read_photo(open_photo(saved(tmp_path, shown())), JOB, lens=LENS)
    assert chord_of(reading).value == pytest.approx(chord_of(upright()).value, abs=1e-9)
    assert codes(reading) == set()


def test_without_tag_and_bob_the_angle_is_doubted_whatever_the_design(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("vision.level.upright.way_up", lambda *_: "open")
    assert codes(read_photo(open_photo(saved(tmp_path, shown())), JOB, lens=LENS)) == {"which-way-up"}
    assert codes(read_photo(open_photo(saved(tmp_path, shown(), 1)), JOB, lens=LENS)) == set()
    far = replace(JOB, stations=(replace(JOB.stations[0], chord_deg=2.0),))
    assert codes(read_photo(open_photo(saved(tmp_path, shown())), far, lens=LENS)) == {"which-way-up"}


def test_the_design_angle_changes_nothing_in_a_reading() -> None:
    """Neither value, nor u, nor flags, nor what was taken for what."""
    far = replace(JOB, stations=(replace(JOB.stations[0], chord_deg=-4.0, spar_deg=80.0),))
    a, b = upright(), read_photo(shown(), far, lens=LENS)
    assert (a.chord, a.spar, a.flags) == (b.chord, b.spar, b.flags)
    assert repr(a.evidence) == repr(b.evidence)  # NaN is no number's equal


@pytest.mark.parametrize(
    ("edges", "told"),
    [
        (StringAtEdges(0.9, 0.05), "upright"),
        (StringAtEdges(0.05, 0.9), "on its head"),
        (StringAtEdges(0.9, 0.9), "open"),
        (StringAtEdges(0.05, 0.05), "open"),
        (StringAtEdges(math.nan, 0.9), "open"),
        (StringAtEdges(0.9, math.nan), "open"),
    ],
)
def test_what_a_string_tells_of_the_way_up(edges: StringAtEdges, told: str) -> None:
    assert way_up(edges) == told


# --- scale and light ---


def test_half_the_pixels_change_nothing_but_u() -> None:
    h, w = shown().shape[:2]
    half = cv2.resize(shown(), (w // 2, h // 2), interpolation=cv2.INTER_AREA)
    reading = read_photo(half, JOB, lens=lens_for(PHONE.scaled(0.5)))
    one, other = chord_of(upright()), chord_of(reading)
    # the same scene, pen and noise, seen more coarsely: far less apart than either is uncertain
    assert abs(one.value - other.value) < 0.5 * one.u
    assert one.u < other.u < 2 * one.u
    assert codes(reading) <= {"line-doubtful"}  # at one pixel a millimetre a doubt is fair


GAIN, GAMMA, TINT = st.floats(0.62, 1.05), st.floats(0.8, 1.25), st.floats(0.85, 1.15)


@settings(
    max_examples=10,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.generate],
)
@example(gain=0.62, gamma=0.8, red=1.0, blue=1.0)
@example(gain=1.05, gamma=1.25, red=0.85, blue=1.15)
@given(gain=GAIN, gamma=GAMMA, red=TINT, blue=TINT)
def test_brightness_gamma_and_white_balance_change_nothing_beyond_u(
    gain: float, gamma: float, red: float, blue: float
) -> None:
    """As a camera's own settings would: a curve for all, a factor for red and blue; then whole grey levels again."""
    v = np.linspace(0, 1, 256)
    tables = [
        np.clip(255 * np.clip(gain * tint * v, 0, 1) ** gamma, 0, 255).round().astype(np.uint8)
        for tint in (blue, 1.0, red)
    ]
    changed = np.stack([table[shown()[..., k]] for k, table in enumerate(tables)], axis=2)
    reading = read_photo(changed, JOB, lens=LENS)
    one, other = chord_of(upright()), chord_of(reading)
    assert abs(one.value - other.value) < 0.5 * one.u
    assert other.u == pytest.approx(one.u, rel=0.3)
    assert codes(reading) == set()
    a, b = upright().spar.quantity, reading.spar.quantity
    assert a is not None
    assert b is None or abs(a.value - b.value) < a.u


def test_reading_leaves_the_pixels_as_they_are() -> None:
    before = shown().copy()
    read_photo(shown(), JOB, lens=LENS)
    np.testing.assert_array_equal(before, shown())
