"""The drawn photos: geometry checked against OpenCV's own projection and board, and by measuring them."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from shop import PHONE, Camera, CardAt, Laser, Line, Pen, Scene, String, draw
from shop.camera import Rays
from shop.canvas import Canvas
from shop.develop import decode, encode
from shop.draw import pose_of
from shop.levels import laser_line, string_ends
from shop.outline import naca_four_digit
from shop.photo_file import jpeg_bytes
from shop.planes import rib_plane
from shop.sheets import CARD_TEXELS, card_sheet, lay_sheet

from vision.image.photo import decode_photo

BARREL = Camera(1200, 900, (980.0, 980.0, 590.0, 455.0, -0.16, 0.08, -0.0008, 0.0006, -0.02))
PLAIN = Pen(0.9, wave_mm=0.0, gaps=0, uneven=0.0, cover=0.9)
CLEAN = Scene(
    seed=5,
    camera=BARREL,
    surface="white",
    grain=0.0,
    noise=0.0,
    sharpen=0.0,
    gradient=0.0,
    clutter=0,
    holes=False,
    yaw_deg=9.0,
    pitch_deg=-6.0,
    roll_deg=4.0,
    aim=(30.0, -20.0),
    chord_pen=PLAIN,
    marks="none",
    label="",
    strings=(),
    chord_deg=3.0,
    cards=(CardAt("panel", 3, 0.5, 4.0),),
    fill=0.8,
)


def opencv_pixels(scene: Scene, world: np.ndarray) -> np.ndarray:
    """Pixels by cv2.projectPoints, nothing of the drawing code but the pose."""
    pose, t = pose_of(scene), scene.camera.theta
    k = np.array([[t[0], 0, t[2]], [0, t[1], t[3]], [0, 0, 1.0]])
    out, _ = cv2.projectPoints(
        np.asarray(world, np.float64).reshape(-1, 1, 3),
        cv2.Rodrigues(pose.rotation)[0],
        -pose.rotation @ pose.eye,
        k,
        np.array(t[4:]),
    )
    return out.reshape(-1, 2)


def offsets(gray: np.ndarray, path: np.ndarray, reach: int = 7, dark: bool = True) -> np.ndarray:
    """Where a thin near-horizontal line lies, in pixels below `path` (n, 2): centroid of its contrast."""
    found = []
    for x, y in path:
        column, row = round(x), round(y)
        strip = gray[row - reach : row + reach + 1, column].astype(float)
        rows = np.arange(row - reach, row + reach + 1)
        ground = np.interp(rows, [rows[0], rows[-1]], [strip[:2].mean(), strip[-2:].mean()])
        weight = np.clip(ground - strip if dark else strip - ground, 0, None)
        slope = np.gradient(path[:, 1], path[:, 0])[np.argmin(np.abs(path[:, 0] - x))]
        found.append((rows * weight).sum() / weight.sum() - (y + slope * (column - x)))
    return np.array(found)


def test_rays_invert_the_lens_to_a_ten_thousandth_of_a_pixel() -> None:
    for camera in (BARREL, PHONE):
        u, v = Rays(camera).grid((0, 0, camera.width, camera.height))
        pick = np.s_[::37, ::41]
        t = camera.theta
        k = np.array([[t[0], 0, t[2]], [0, t[1], t[3]], [0, 0, 1.0]])
        points = np.stack([u[pick].ravel(), v[pick].ravel(), np.ones(u[pick].size)], axis=1)
        back, _ = cv2.projectPoints(points.reshape(-1, 1, 3), np.zeros(3), np.zeros(3), k, np.array(t[4:]))
        y, x = np.mgrid[0 : camera.height, 0 : camera.width]
        truth = np.stack([x[pick].ravel(), y[pick].ravel()], axis=1)
        np.testing.assert_allclose(back.reshape(-1, 2), truth, rtol=0, atol=1e-4)


def test_truth_agrees_with_opencv_projection() -> None:
    scene = replace(CLEAN, lean_deg=2.0, strings=(String(40.0, 25.0),), forward=-1)
    _, truth = draw(scene)
    plane = rib_plane(scene.chord_deg, scene.forward, scene.lean_deg)
    ends = plane.world(np.array([[-(0.5 - 0.985), 0.0], [-(0.5 - 0.012), 0.0]]) * scene.chord_mm)
    np.testing.assert_allclose(truth.chord_px, opencv_pixels(scene, ends), rtol=0, atol=1e-6)
    assert truth.forward == "left" and truth.chord_px[1, 0] < truth.chord_px[0, 0]
    low, top = string_ends(scene.strings[0], scene)
    seen = truth.strings_px[0]
    curve = opencv_pixels(scene, low + (top - low) * np.linspace(0, 0.5, 4000)[:, None])
    gaps = [np.hypot(*(curve - p).T).min() for p in seen]
    assert len(seen) > 10 and max(gaps) < 0.5


@pytest.mark.parametrize("turn", [4.0, 0.0, -31.0])
def test_card_corners_lie_where_opencv_projects_them(turn: float) -> None:
    scene = replace(
        CLEAN,
        camera=BARREL.scaled(2.0),
        chord_pen=None,
        spar_deg=None,
        cards=(CardAt("panel", 3, 0.5, turn, above_mm=0.0),),
    )
    bgr, truth = draw(scene)
    gray = cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY)
    expected = truth.cards_px[3]
    found = cv2.cornerSubPix(
        gray,
        expected.astype(np.float32).reshape(-1, 1, 2),
        (4, 4),
        (-1, -1),  # stays within the white margin
        (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 100, 1e-5),
    ).reshape(-1, 2)
    off = found - expected  # OpenCV's refinement is itself off by this much where edges follow the pixel rows
    assert np.abs(off.mean(0)).max() < 0.03
    assert np.sqrt((off**2).mean()) < 0.05


@pytest.mark.parametrize("turn", [4.0, -7.1, -31.0])
def test_card_agrees_with_brute_force_to_a_hundredth_of_a_pixel(turn: float) -> None:
    """Every pixel against 24 x 24 rays through OpenCV's undistortion; the difference, regressed on the
    picture's gradient, is the shift of what was drawn."""
    canvas = Canvas(BARREL, pose_of(CLEAN))
    plane = rib_plane(3.0, 1, 2.0).turned((20.0, 30.0), turn)
    image, width, height = card_sheet("panel", 3)
    lay_sheet(canvas, plane, image, width, height)
    x0, y0 = np.floor(plane.pixels(canvas.pose, BARREL, np.array([[-60.0, 40.0]]))[0]).astype(int)
    n, k = 70, 24
    sub = (np.arange(n * k) + 0.5) / k - 0.5
    grid = np.stack(np.meshgrid(x0 + sub, y0 + sub), axis=-1).reshape(-1, 1, 2)
    t = BARREL.theta
    rays = cv2.undistortPoints(
        grid,
        np.array([[t[0], 0, t[2]], [0, t[1], t[3]], [0, 0, 1.0]]),
        np.array(t[4:]),
        None,
        None,
        None,
        (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-12),
    ).reshape(-1, 2)
    d = np.concatenate([rays, np.ones((len(rays), 1))], axis=1) @ canvas.pose.rotation
    hit = (
        canvas.pose.eye
        + d * ((plane.origin - canvas.pose.eye) @ plane.normal / (d @ plane.normal))[:, None]
        - plane.origin
    )
    column = np.round((hit @ plane.ex + width / 2) / width * image.shape[1] - 0.5).astype(int)
    row = np.round((height / 2 - hit @ plane.ez) / height * image.shape[0] - 0.5).astype(int)
    truth = image[row, column].reshape(n, k, n, k).mean(axis=(1, 3))
    drawn = canvas.light[y0 : y0 + n, x0 : x0 + n, 0]
    gy, gx = np.gradient(truth)
    shift = np.linalg.lstsq(np.stack([gx.ravel(), gy.ravel()], 1), (truth - drawn).ravel(), rcond=None)[0]
    assert np.abs(shift).max() < 0.01
    assert np.sqrt(((drawn - truth) ** 2).mean()) < 0.02
    assert truth.std() > 0.2


def test_card_is_the_board_that_opencv_makes() -> None:
    for kind, (columns, rows, square, marker) in {
        "panel": (7, 5, 25.0, 18.0),
        "strip": (9, 3, 15.0, 11.0),
    }.items():
        ids = np.arange(32 * 7, 32 * 7 + columns * rows // 2)
        board = cv2.aruco.CharucoBoard(
            (columns, rows), square, marker, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000), ids
        )
        w, h = int(columns * square * CARD_TEXELS), int(rows * square * CARD_TEXELS)
        theirs = board.generateImage((w, h), marginSize=0, borderBits=1) > 127
        edge = int(6 * CARD_TEXELS)
        ours = card_sheet(kind, 7)[0][edge : edge + h, edge : edge + w] > 0.5
        assert np.mean(theirs == ours) > 0.995


def test_pen_line_lies_on_its_place() -> None:
    scene = replace(CLEAN, cards=(), spar_deg=None)
    bgr, _ = draw(scene)
    plane = rib_plane(scene.chord_deg, 1, 0.0)
    path = opencv_pixels(scene, plane.world(np.stack([np.linspace(-0.4, 0.4, 300) * scene.chord_mm, np.zeros(300)], 1)))
    off = offsets(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), path)
    assert abs(off.mean()) < 0.01
    assert abs(np.polyfit(path[:, 0] - path[:, 0].mean(), off, 1)[0]) * 700 < 0.02  # tilt over the line, pixels
    assert off.std() < 0.08


def test_a_thin_line_half_a_pixel_wide_lies_on_its_place() -> None:
    pen = replace(PLAIN, width_mm=0.3)
    scene = replace(CLEAN, cards=(), spar_deg=None, chord_pen=None, lines=(Line((0.9, 10.0), (0.1, 14.0), pen),))
    bgr, _ = draw(scene)
    plane = rib_plane(scene.chord_deg, 1, 0.0)
    f = np.linspace(0.82, 0.2, 300)
    path = opencv_pixels(scene, plane.world(np.stack([(0.5 - f) * scene.chord_mm, 10 + (0.9 - f) / 0.8 * 4], 1)))
    off = offsets(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), path)
    assert abs(off.mean()) < 0.015 and off.std() < 0.12


def test_string_and_laser_lie_on_their_places() -> None:
    string = String(40.0, 30.0, 1.2, (0.03, 0.03, 0.03), side=0.0, shadow=0.0, bob=False)
    scene = replace(CLEAN, cards=(), spar_deg=None, strings=(string,))
    gray = cv2.cvtColor(draw(scene)[0], cv2.COLOR_BGR2GRAY)
    low, top = string_ends(string, scene)
    path = opencv_pixels(scene, low + (top - low) * np.linspace(0.02, 0.5, 900)[:, None])
    path = path[(path[:, 1] > 20) & (path[:, 1] < 400)]
    off = offsets(np.ascontiguousarray(gray.T), path[:, ::-1])
    assert abs(off.mean()) < 0.012 and off.std() < 0.1
    laser = Laser(-15.0)
    scene = replace(CLEAN, cards=(), spar_deg=None, chord_pen=None, laser=laser, lean_deg=2.0, exposure=0.4)
    red = draw(scene)[0][..., 2]
    plane = rib_plane(scene.chord_deg, 1, 2.0)
    a, b = laser_line(laser, plane, 300.0)
    points = plane.world(np.linspace(a, b, 300))
    np.testing.assert_allclose(points[:, 2], laser.z_mm, rtol=0, atol=1e-9)
    off = offsets(red, opencv_pixels(scene, points), dark=False)
    assert abs(off.mean()) < 0.02


def test_lean_turns_the_top_towards_the_camera() -> None:
    plane = rib_plane(2.0, 1, 3.0)
    assert plane.ez[1] < 0  # the camera stands at negative Y
    assert np.degrees(np.arcsin(plane.ex[2])) == pytest.approx(
        np.degrees(np.arcsin(np.sin(np.radians(2)) * np.cos(np.radians(3)))), abs=1e-12
    )


def test_outline_of_2412_at_30_percent() -> None:
    """7.88 % and -4.12 %: NACA TR 460; Abbott and von Doenhoff, Theory of Wing Sections."""
    x, upper, lower = naca_four_digit("2412", 2001)
    assert np.interp(0.30, x, upper) == pytest.approx(0.0788, abs=5e-5)
    assert np.interp(0.30, x, lower) == pytest.approx(-0.0412, abs=1e-4)


def test_same_seed_same_photo_other_seed_another() -> None:
    scene = Scene(seed=4, camera=PHONE.scaled(0.3))
    one, two, other = draw(scene)[0], draw(scene)[0], draw(replace(scene, seed=5))[0]
    assert np.array_equal(one, two) and not np.array_equal(one, other)


def test_tone_curve_is_inverted() -> None:
    grey = np.arange(256, dtype=np.uint8).reshape(1, 256, 1).repeat(3, axis=2)
    np.testing.assert_allclose(encode(decode(grey)) * 255, grey, rtol=0, atol=0.05)


@pytest.mark.parametrize("tag", range(1, 9))
def test_stored_turned_comes_back_upright(tag: int) -> None:
    bgr, _ = draw(Scene(seed=1, camera=PHONE.scaled(0.12)))
    picture = decode_photo(jpeg_bytes(bgr, PHONE, 95, tag), "x.jpg")
    assert picture.gray.shape == bgr.shape[:2]
    assert np.abs(picture.gray.astype(int) - cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY)).mean() < 4
