"""Named lines in the joint solution: their angles by plain trigonometry, their U by many draws, what cancels between them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from seen_rib import LINE_PX, Rib, solved

from shared.lines import Role
from shared.quantity import Quantity
from vision.solution.propagate import angles, names
from vision.solution.scene import LineSeen, Scene

RIB = Rib(chord_deg=1.7, spar_deg=90.4, lean_deg=0.6)


def with_named(scene: Scene, *lines: LineSeen) -> Scene:
    """The scene with further lines."""
    return replace(scene, lines=(*scene.lines, *lines))


def seen(rib: Rib, name: str, at: tuple[float, float], turn_deg: float, half: float = 150.0, n: int = 40) -> LineSeen:
    """A line on the rib through `at` (mm along the chord and above it), turned against the chord line, without error."""
    t = np.radians(turn_deg)
    s = np.linspace(-half, half, n)[:, None]
    px = rib.pixels(rib.on_rib(np.array(at) + s * [np.cos(t), np.sin(t)]))
    return LineSeen(Role.NAMED, px, np.full(n, LINE_PX), name=name)


def value(scene: Scene, name: str) -> Quantity:
    return dict(angles(solved(scene)).named)[name]


@pytest.mark.parametrize("turn", [-4.0, 0.0, 3.0, 87.0, 90.0, 94.5])
def test_a_line_turned_against_the_chord_line_reads_that_much_more(turn: float):
    # in a face that leans by 0.6 deg an in-plane turn differs from the inclination's by under 1e-3 deg
    scene = with_named(RIB.scene(), seen(RIB, "x", (30.0, -60.0), turn))
    assert value(scene, "x").value == pytest.approx(RIB.chord_deg + turn, abs=2e-3)


def test_two_edges_of_a_bar_before_the_face_have_its_direction():
    # a bar parallel to the face, 40 mm before it, tapered by 0.4 deg: the middle between both edges is its direction
    into = np.cross(RIB.axes[:, 1], RIB.axes[:, 0])
    edges = []
    for off, turn in ((-6.0, 90.8), (6.0, 91.2)):
        t = np.radians(turn)
        s = np.linspace(-60, 60, 30)[:, None]
        world = RIB.on_rib(np.array([120.0 + off, 20.0]) + s * [np.cos(t), np.sin(t)]) - 40.0 * into
        edges.append(LineSeen(Role.NAMED, RIB.pixels(world), np.full(30, LINE_PX), name="bolt"))
    scene = with_named(RIB.scene(), *edges)
    assert names(scene.lines) == ("bolt",)
    assert value(scene, "bolt").value == pytest.approx(RIB.chord_deg + 91.0, abs=2e-3)


def test_two_marks_are_a_line_whose_u_falls_with_their_distance():
    us = []
    for half in (50.0, 200.0):
        line = replace(seen(RIB, "m", (0.0, -50.0), 0.0, half, 2), noise_px=np.full(2, 0.1))
        q = value(with_named(RIB.scene(), line), "m")
        us.append(q.budget()["named line fit"])
        # two points of noise s, d apart: sqrt(2) s / d
        ends = line.pixels[1] - line.pixels[0]
        assert us[-1] == pytest.approx(np.degrees(np.sqrt(2) * 0.1 / np.hypot(*ends)), rel=0.05)
    assert us[0] == pytest.approx(4 * us[1], rel=0.05)


def test_between_two_lines_gravity_lens_and_lean_cancel():
    scene = with_named(RIB.scene(), seen(RIB, "a", (0.0, -60.0), 0.0), seen(RIB, "b", (10.0, 40.0), 0.0))
    named = dict(angles(solved(scene)).named)
    apart = (named["a"] - named["b"]).budget()
    whole = named["a"].budget()
    assert whole["string's own error" if "string's own error" in whole else "plumb's own error"] > 0.015
    assert apart.get("plumb's own error", 0.0) < 1e-4 and apart.get("lean of the rib plane", 0.0) < 2e-3
    assert (named["a"] - named["b"]).u < 0.6 * named["a"].u


def test_u_covers_what_many_draws_scatter():
    rng = np.random.default_rng(20)
    pulls = []
    for _ in range(60):
        scene = RIB.scene(rng)
        lines = []
        for name, at, turn in (("level", (0.0, -60.0), -1.0), ("upright", (-150.0, 20.0), 89.0)):
            line = seen(RIB, name, at, turn)
            d = line.pixels[-1] - line.pixels[0]
            across = np.array([-d[1], d[0]]) / np.hypot(*d)
            noise = LINE_PX * rng.standard_normal(len(line.pixels))
            lines.append(replace(line, pixels=line.pixels + noise[:, None] * across))
        got = dict(angles(solved(with_named(scene, *lines))).named)
        for name, turn in (("level", -1.0), ("upright", 89.0)):
            pulls.append((got[name].value - RIB.chord_deg - turn) / got[name].u)
    # 60 draws of each: the standard deviation of a right pull is 1 within 3 sigma of its scatter, 3 / sqrt(2 * 59) = 0.28
    for each in (pulls[::2], pulls[1::2]):
        assert 0.72 < np.std(each) < 1.28
        assert abs(np.mean(each)) < 3 / np.sqrt(60)
