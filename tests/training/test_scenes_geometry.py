"""The shop simulator's labels say where things are: checked without the ray tracer."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.lens.profiles import load_lens
from shared.job.file import load_job
from training.scenes.effects import EFFECTS, GROUPS, WITHHELD, Choice, Draw
from training.scenes.geometry import SAMPLES, Camera, Pose, film_size, in_frame, look, project
from training.scenes.job import lens_profile, write_job
from training.scenes.labels import label_lines
from training.scenes.light import shadow_on
from training.scenes.outline import naca4
from training.scenes.rib import Spec, blank
from training.scenes.rib_lines import chord_line, spar_line
from training.scenes.wing import draw_phone, draw_shot, draw_wing
from training.scenes.world import Line

CAM = Camera().scaled(0.5)
PLAIN = Choice(without=frozenset({"spar_absent"}))
SPEC = Spec(0, "R1", 900.0, 2.3, 90.4, 1, "2412")


def nothing(start: np.ndarray, _: np.ndarray) -> np.ndarray:
    return np.full(len(start), np.inf)


def on_plane(pixels: np.ndarray, cam: Camera, pose: Pose, point: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """Back from distorted pixels to a plane in space."""
    rays = cv2.undistortPoints(pixels.reshape(-1, 1, 2), cam.matrix, np.array(cam.dist)).reshape(-1, 2)
    rays = np.c_[rays, np.ones(len(rays))] @ pose.R
    return pose.eye + rays * (((point - pose.eye) @ normal) / (rays @ normal))[:, None]


@pytest.mark.parametrize("forward", [1, -1])
@pytest.mark.parametrize("lean", [0.0, 2.5])
def test_the_chord_label_backprojected_has_the_true_angle(forward: int, lean: float) -> None:
    rib = blank(Spec(0, "R1", 900.0, 2.3, 90.4, forward, "2412", lean), Draw(5), 1.5)
    chord_line(rib)
    pose = look(6.0, -4.0, 2.0, np.zeros(3), 1100.0)
    line = next(a for a in rib.lines() if a.kind == "chord")
    p = in_frame(CAM, pose, line.points)
    assert p is not None and p.shape == (SAMPLES, 3)
    back = on_plane(project(CAM, pose, p), CAM, pose, np.zeros(3), rib.axes[2])
    d = back[-1] - back[0]  # from the trailing to the leading edge
    assert d[0] * forward > 0
    assert np.degrees(np.arctan2(d[2], np.hypot(d[0], d[1]))) == pytest.approx(rib.chord_deg, abs=1e-3)
    if lean == 0.0:
        assert rib.chord_deg == pytest.approx(2.3, abs=1e-9)


def test_nose_up_raises_the_leading_edge_on_either_side() -> None:
    for forward in (1, -1):
        rib = blank(Spec(0, "R1", 900.0, 2.3, 90.0, forward, "2412"), Draw(5), 0.5)
        nose, tail = rib.place([[float(rib.outline.x(0.0)), 0.0], [float(rib.outline.x(1.0)), 0.0]])
        assert nose[2] > tail[2]
        assert (nose[0] - tail[0]) * forward > 0


def test_the_spar_line_leans_top_aft_when_its_angle_exceeds_90() -> None:
    for forward in (1, -1):
        rib = blank(Spec(0, "R1", 900.0, 2.3, 91.5, forward, "2412"), Draw(11, PLAIN), 1.0)
        spar_line(rib)
        (line,) = rib.lines()
        low, high = sorted(line.points, key=lambda p: p[2])
        aft = -(high[0] - low[0]) * forward
        assert np.degrees(np.arctan2(aft, high[2] - low[2])) == pytest.approx(1.5, abs=1e-6)


def test_ink_lies_under_the_label() -> None:
    rib = blank(SPEC, Draw(7), 3.0)
    rib.sheet.image[:] = 0.9
    rib.sheet.stroke([-300.0, 10.0], [300.0, 16.0], 1.0, 0.9, np.random.default_rng(1), even=True)
    at = rib.sheet.px(np.linspace([-280.0, 10.2], [280.0, 15.8], 50))
    ink = 0.9 - rib.sheet.image[..., 0]
    for x, y in at:
        column = ink[int(y) - 6 : int(y) + 7, int(x)]
        middle = (column * (np.arange(int(y) - 6, int(y) + 7) + 0.5)).sum() / column.sum()
        assert abs(middle - y) < 0.25  # a quarter of a pixel of the texture


def test_published_ordinates_of_naca_0012() -> None:
    """Abbott and von Doenhoff, Theory of Wing Sections, appendix I (as remembered); chord 100."""
    o = naca4("0012", 100.0, 1)
    for x, y in ((0.05, 3.555), (0.10, 4.683), (0.20, 5.737), (0.30, 6.002), (0.40, 5.803), (0.50, 5.294)):
        assert float(o.up(x)) == pytest.approx(y, abs=0.01)
        assert float(o.low(x)) == pytest.approx(-y, abs=0.01)


def test_hidden_spans_and_things_in_front_are_not_visible() -> None:
    pose = look(0, 0, 0, np.zeros(3), 1000.0)
    line = Line("chord", 0, np.array([[-200.0, 0, 0], [200.0, 0, 0]]), hidden=((0.25, 0.5),), solid=False)

    def hit(start: np.ndarray, toward: np.ndarray) -> np.ndarray:
        away = 500.0 / toward[:, 1]  # a board half way, over the right quarter
        return np.where(start[:, 0] + toward[:, 0] * away > 50.0, away, np.inf)

    (label,) = label_lines([line], CAM, pose, hit, None)
    x = np.linspace(-200, 200, SAMPLES)
    expected = ~((x > -100) & (x < 0)) & (x < 100)
    seen = np.array(label["visible"])
    assert (seen == expected)[1:-1].mean() > 0.95
    assert label["points"][0][0] < label["points"][-1][0]


def test_a_shadow_falls_along_the_sun() -> None:
    rib = blank(SPEC, Draw(3), 0.5)
    sun = np.array([0.3, 0.8, -0.5])
    string = np.array([[40.0, -20, z] for z in (-100.0, 100.0)])
    shadow = shadow_on(rib, string, sun)
    assert np.allclose(np.cross(shadow - string, sun), 0)
    assert np.allclose((shadow - np.asarray(rib.spec.at)) @ rib.axes[2], 0)


def test_a_line_out_of_the_frame_has_no_label() -> None:
    pose = look(0, 0, 0, np.zeros(3), 1000.0)
    far = Line("rod", None, np.array([[5000.0, 0, -100], [5000.0, 0, 100]]))
    behind = Line("rod", None, np.array([[0.0, -3000, -100], [0.0, -3000, 100]]))
    assert label_lines([far, behind], CAM, pose, nothing, None) == []


def test_withheld_effects_are_drawn_only_for_judging() -> None:
    seen: dict[bool, set[str]] = {False: set(), True: set()}
    for judge in seen:
        for seed in range(300):
            draw = Draw(seed, Choice(judge))
            for name in EFFECTS:
                draw.has(name)
            for group in GROUPS:
                draw.option(group)
            seen[judge] |= draw.used
    assert not seen[False] & WITHHELD
    assert seen[True] >= WITHHELD


def test_switching_an_effect_off_leaves_the_others_alone() -> None:
    def used(choice: Choice) -> set[str]:
        draw = Draw(42, choice)
        return {name for name in EFFECTS if draw.has(name)}

    everything = used(Choice())
    one = sorted(everything)[0]
    assert used(Choice(without=frozenset({one}))) == everything - {one}


def test_a_wing_comes_with_files_the_project_reads(tmp_path: Path) -> None:
    choice = Choice()
    phone = draw_phone(30, (0.6, 0.6), choice)
    wing = draw_wing(30, phone, "w00", choice)
    write_job(tmp_path, wing, True)
    job = load_job(tmp_path / "job.toml")
    assert [s.name for s in job.stations] == [s.name for s in wing.stations]
    for s, t in zip(job.stations, wing.stations, strict=True):
        assert 0 < abs(s.chord_deg - t.incidence) <= 0.35
    profile = load_lens(tmp_path / "lens" / f"{phone.ident}.json")
    assert profile.size == (phone.cam.scaled(0.6).width, phone.cam.scaled(0.6).height)
    assert json.dumps(lens_profile(phone)["theta"]) == json.dumps(list(profile.theta))


def test_neighbours_are_stations_of_the_wing_with_their_own_angles() -> None:
    choice = Choice()
    wing = draw_wing(33, draw_phone(33, (1.0, 1.0), choice), "w00", choice)
    by_name = {s.name: s for s in wing.stations}
    behind = 0
    for k in range(14):
        shot, _ = draw_shot(wing, k, choice, ())
        for rib in shot.ribs[1:]:
            if rib.station in by_name:
                behind += 1
                assert rib.incidence == by_name[rib.station].incidence
                assert rib.station != shot.station
    assert behind > 0


@pytest.mark.parametrize("scale", [0.3, 0.6, 1.0])
def test_the_rendered_picture_holds_all_that_the_lens_shows(scale: float) -> None:
    for seed in range(0, 60, 3):
        cam = draw_phone(seed, (scale, scale), Choice()).cam.scaled(scale)
        edge = np.array(
            [[x, y] for x in np.linspace(0, cam.width - 1, 9) for y in (0, cam.height - 1)]
            + [[x, y] for x in (0, cam.width - 1) for y in np.linspace(0, cam.height - 1, 9)],
            float,
        )
        bare = cv2.undistortPoints(edge.reshape(-1, 1, 2), cam.matrix, np.array(cam.dist)).reshape(-1, 2) * cam.f
        assert (np.abs(bare) <= np.array(film_size(cam)) / 2).all()
