"""A drawn photo of several ribs: each read under its own name, or refused; together they tell more than alone."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from shop import PHONE_12, CardAt, Pen, RibBehind, Scene, String, draw
from shop.draw import chord_behind
from shop.jobs import job_for, lens_for

from shared.job.model import Job
from shared.reading import Reading
from vision.reader import read_photo, read_stations

PLAIN = Pen(0.9, cover=0.9, wave_mm=0.06, gaps=0)
SECOND = RibBehind(
    Scene(
        chord_mm=940.0, chord_deg=0.9, spar_deg=None, cards=(CardAt("panel", 2, 0.45, -3.0),), marks="none", label="R2",
        chord_pen=PLAIN, holes=False, lean_deg=0.4,
    ),
    (30.0, 330.0, 170.0),
)  # fmt: skip
FRONT = Scene(
    seed=5, camera=PHONE_12, chord_deg=1.7, spar_deg=None, cards=(CardAt("panel", 1, 0.52, 2.0),), marks="none",
    chord_pen=PLAIN, holes=False, strings=(String(-180.0, 20.0),), behind=(SECOND,), yaw_deg=4.0, pitch_deg=-2.0,
    clutter=0, aim=(0.0, 60.0), fill=0.62,
)  # fmt: skip


def job(scene: Scene) -> Job:
    """A job of all ribs in the scene."""
    plain = job_for(scene)
    others = tuple(
        replace(
            plain.stations[0],
            name=b.scene.label,
            chord_mm=b.scene.chord_mm,
            cards=tuple(c.number for c in b.scene.cards),
            lean_deg=b.scene.lean_deg,
        )
        for b in scene.behind
    )
    return replace(plain, stations=(*plain.stations, *others))


@cache
def photo(scene: Scene) -> np.ndarray:  # type: ignore[type-arg]
    return draw(scene)[0]


def read(scene: Scene, **changes: object) -> dict[str | None, Reading]:
    found = read_stations(photo(scene), replace(job(scene), **changes), lens=lens_for(PHONE_12))  # type: ignore[arg-type]
    return {r.station: r for r in found}


def test_both_ribs_are_read_each_with_its_own_angle_and_the_twist_is_known_better() -> None:
    got = read(FRONT)
    for name, true in (("R1", draw_truth(FRONT)), ("R2", chord_behind(SECOND))):
        chord = got[name].chord.quantity
        assert chord is not None, got[name].chord.reason
        assert abs(chord.value - true) < 3 * chord.u
    twist = got["R2"].twist
    assert twist is not None and twist.against == "R1"
    assert abs(twist.quantity.value - (chord_behind(SECOND) - draw_truth(FRONT))) < 3 * twist.quantity.u
    assert got["R1"].foremost and not got["R2"].foremost
    assert got["R1"].photo == got["R2"].photo


def test_the_foremost_rib_is_read_as_without_the_one_behind() -> None:
    alone = read(FRONT, only="foremost")
    assert list(alone) == ["R1"]
    one, other = alone["R1"].chord.quantity, read(FRONT)["R1"].chord.quantity
    assert one is not None and other is not None
    assert abs(one.value - other.value) < 2 * one.u
    assert other.u < 1.02 * one.u


def test_read_photo_gives_the_foremost_ribs_reading() -> None:
    one, other = read_photo(photo(FRONT), job(FRONT), lens=lens_for(PHONE_12)), read(FRONT)["R1"]
    assert (one.station, one.chord, one.foremost) == (other.station, other.chord, other.foremost)


def test_without_a_string_only_the_twist_is_known() -> None:
    got = read(replace(FRONT, strings=()))
    assert all(r.chord.quantity is None and r.chord.reason for r in got.values())
    twist = got["R2"].twist
    assert twist is not None
    assert abs(twist.quantity.value - (chord_behind(SECOND) - draw_truth(FRONT))) < 3 * twist.quantity.u
    assert twist.quantity.u < 0.1
    assert got["R1"].relative is not None and got["R1"].relative.u > 2.0


def test_no_line_of_the_front_rib_goes_under_the_name_of_the_one_behind() -> None:
    """R2 bears no line; R1's lie all about its card."""
    got = read(replace(FRONT, behind=(replace(SECOND, scene=replace(SECOND.scene, chord_pen=None)),)))
    assert got["R2"].chord.quantity is None and got["R2"].chord.reason
    assert got["R2"].twist is None and got["R2"].relative is None
    assert got["R1"].chord.quantity is not None


def test_a_rib_half_hidden_has_its_own_angle_or_none() -> None:
    """R2 stands so low that R1 hides a good part of it and of its card; R1's line lies 0.8 degrees from R2's."""
    chord = read(replace(FRONT, behind=(replace(SECOND, at=(30.0, 330.0, 60.0)),)))["R2"].chord.quantity
    assert chord is None or abs(chord.value - chord_behind(SECOND)) < 3 * chord.u


def draw_truth(scene: Scene) -> float:
    return chord_behind(RibBehind(scene, (0.0, 0.0, 0.0)))
