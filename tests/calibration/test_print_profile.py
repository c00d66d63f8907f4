"""A stretched and sheared print: measured, it gives right angles; unmeasured, U allows for what printers do."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import pytest
from shop import PHONE, draw
from shop.chance import good_scene
from shop.jobs import job_for, lens_for

from calibration.print.profile import (
    PAGE_TO_PAGE,
    U_SKEW_DEG,
    U_STRETCH,
    age_flags,
    known_print,
    load_print,
    save_print,
)
from calibration.print.scale import MeasuredSheet, print_profile, print_scale
from shared.errors import UserError
from shared.job.file import parse_job
from shared.job.model import CardPrint
from vision.cards.spec import SPECS
from vision.reader import read_photo
from vision.solution.propagate import angles

sys.path.insert(0, str(Path(__file__).parents[1] / "vision"))
from seen_rib import Rib, solved

SIZE = SPECS["panel"].size_mm


def bars(scale: float, stretch: float, skew_deg: float) -> tuple[float, float, float, float]:
    """Width, height and both diagonals of a panel's board so printed, by its corners."""
    g = math.radians(skew_deg)
    across = np.array([SIZE[0] * scale, 0.0])
    up = SIZE[1] * scale * (1 + stretch) * np.array([math.sin(g), math.cos(g)])
    d1, d2 = across + up, across - up
    return SIZE[0] * scale, float(np.linalg.norm(up)), float(np.linalg.norm(d1)), float(np.linalg.norm(d2))


def measured(scale: float, stretch: float, skew_deg: float, date: str = "2026-05-16"):
    """The profile that calipers on such a print leave."""
    w, h, d1, d2 = bars(scale, stretch, skew_deg)
    return print_profile(MeasuredSheet([w], [h], [d1, d2], SIZE, SIZE, "caliper"), "inkjet", date)


def test_bars_and_diagonals_tell_scale_stretch_and_skew():
    p = measured(1.003, 0.012, 0.4)
    assert p.scale == pytest.approx(1.003 * 1.006, abs=1e-6)
    assert p.stretch == pytest.approx(0.012, abs=1e-9)
    assert p.skew_deg == pytest.approx(0.4, abs=1e-4)
    assert p.u_stretch is not None and p.u_stretch < 0.15 * U_STRETCH


def test_one_per_cent_is_stated():
    """An even 1 %: a millimetre 1 % wrong, no angle. 1 % one way: acos(1 / 1.01) = 8.07 deg of feigned tilt of a card
    seen square-on; a line at 45 deg to the card turned by atan 1.01 - 45 = 0.285 deg (geometry)."""
    even = " ".join(print_scale([101.0], [101.0]).text)
    assert "1.00 % out" in even and "0 deg" in even
    one_way = " ".join(print_scale([100.0], [101.0]).text)
    assert (
        "8.1 deg" in one_way and "one at 45 deg by 0.286 deg" in one_way and "at 5 deg to the card by 0.050" in one_way
    )


def test_the_profile_survives_the_disk_and_doctored_ones_are_refused(tmp_path):
    path = tmp_path / "print.json"
    save_print(path, measured(1.0, 0.004, 0.1))
    assert load_print(path) == measured(1.0, 0.004, 0.1)
    good = msgspec.json.decode(path.read_bytes())
    for change, rule in (
        ({"colour": 1}, "unknown key"),
        ({"format": "x"}, "is not a print profile"),
        ({"stretch": None}, "go together"),
        ({"u_skew_deg": 0.0}, "out of range"),
        ({"scale": 2.0}, "out of range"),
        ({"date": "May"}, "no day"),
    ):
        path.write_bytes(msgspec.json.encode(good | change))
        with pytest.raises(UserError, match=rule) as error:
            load_print(path)
        assert "\n" not in str(error.value)
    with pytest.raises(UserError, match="cannot be read"):
        known_print(CardPrint(profile="gone.json"), tmp_path)


def test_the_job_takes_the_profile_or_the_numbers_and_what_is_not_measured_is_allowed_for(tmp_path):
    save_print(tmp_path / "print.json", measured(1.0, 0.004, 0.1))
    known = known_print(CardPrint(profile="print.json"), tmp_path)
    assert known.measured and known.source == "print:inkjet@2026-05-16"
    assert known.aspect == pytest.approx(1 / 1.004 - 1, abs=1e-9)
    assert known.u_stretch > PAGE_TO_PAGE
    bare = known_print(CardPrint(scale=1.002, stretch=-0.003, u_stretch=0.0004), tmp_path)
    assert (bare.stretch, bare.skew_deg, bare.u_skew_deg) == (-0.003, 0.0, U_SKEW_DEG)
    nothing = known_print(CardPrint(), tmp_path)
    assert not nothing.measured and nothing.u_stretch == U_STRETCH
    job = parse_job(JOB + "[cards]\nstretch = 0.004\nu_stretch = 0.0005\n")
    assert job.prints == CardPrint(stretch=0.004, u_stretch=0.0005)
    for text, rule in (
        ("stretch = 0.004", "is missing"),
        ('profile = "print.json"\nskew_deg = 0.1\nu_skew_deg = 0.1', "beside a profile"),
        ("stretch = 0.4\nu_stretch = 0.1", "0.1"),
    ):
        with pytest.raises(UserError, match=rule):
            parse_job(JOB + f"[cards]\n{text}\n")


def test_an_old_profile_is_flagged():
    p = measured(1.0, 0.0, 0.0)
    assert age_flags(p, [None, "2026-08-01T10:00:00"]) == ()
    assert [f.code for f in age_flags(p, ["2027-03-01T10:00:00"])] == ["print-profile-old"]


@pytest.mark.parametrize("printed", [(0.01, 0.0), (0.0, math.radians(0.4)), (-0.008, math.radians(-0.3))])
def test_a_known_stretch_and_shear_give_exact_angles(printed):
    """Without noise the solution is exact for a known print; taken for a true one it is wrong."""
    rib = Rib(cards=(("panel", 1, -60.0, 80.0, 0.4), ("strip", 2, 250.0, 60.0, -30.0)))
    scene = rib.scene(printed=printed)
    chord, spar = (q.value for q in (angles(solved(scene)).chord, angles(solved(scene)).spar) if q is not None)
    assert chord == pytest.approx(rib.chord_deg, abs=1e-4) and spar == pytest.approx(rib.spar_deg, abs=1e-4)
    trusted = replace(scene, aspect=0.0, shear=0.0, u_aspect=1e-5, u_shear=1e-5)
    worse = angles(solved(trusted)).spar
    assert worse is not None and abs(worse.value - rib.spar_deg) > 0.03


def drawn(stretch: float, skew_deg: float, seed: int):
    """A drawn photo of a rib whose card is so printed, its job, its lens."""
    scene = good_scene(seed, "panel", "plumb", PHONE)
    scene = replace(scene, cards=tuple(replace(c, stretch=stretch, skew_deg=skew_deg) for c in scene.cards))
    return draw(scene)[0], job_for(scene), lens_for(scene.camera), scene


@pytest.mark.parametrize(("stretch", "skew", "seed"), [(0.01, 0.3, 12), (-0.01, -0.3, 11)])
def test_drawn_photos_of_a_badly_printed_card_are_read_right_once_it_is_measured(tmp_path, stretch, skew, seed):
    photo, job, lens, scene = drawn(stretch, skew, seed)
    save_print(tmp_path / "print.json", measured(1.0, stretch, skew))
    reading = read_photo(photo, replace(job, folder=tmp_path, prints=CardPrint(profile="print.json")), lens=lens)
    q = reading.chord.quantity
    assert q is not None, reading.chord.reason
    assert abs(q.value - scene.chord_deg) < q.U
    assert ("card print", "inkjet of 2026-05-16: stretch measured, corners measured") in reading.made.settings


def test_a_print_as_printers_are_is_within_u_without_being_measured():
    photo, job, lens, scene = drawn(0.005, 0.05, 12)
    reading = read_photo(photo, job, lens=lens)
    for line, true in ((reading.chord, scene.chord_deg), (reading.spar, scene.spar_deg)):
        q = line.quantity
        assert q is not None and abs(q.value - true) < q.U and q.budget()["card print"] > 0


JOB = """[wing]
name = "w"
root = "R1"
[[station]]
name = "R1"
side = "right"
span_mm = 100
chord_mm = 1000
cards = [1]
chord_deg = 1.0
chord_tolerance_deg = 0.2
"""
