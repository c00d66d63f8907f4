"""The check before measuring, on drawn photos: what is there is seen, what is missing is named."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from shop import PHONE, CardAt, Pen, Scene, String, draw
from shop.jobs import job_for
from shop.photo_file import jpeg_bytes

from rigging.batch.find import Source
from rigging.cli.main import run
from rigging.preflight.job import check_job, find_station
from rigging.preflight.photo import check_photo, edge_width
from shared.errors import UserError
from shared.job.lint import lint
from shared.job.model import Gauge
from vision.reader import read_photo

GOOD = Scene(
    seed=11, camera=PHONE, surface="white", grain=0.0, clutter=0, holes=False, yaw_deg=3.0, chord_mm=900.0,
    chord_deg=1.0, cards=(CardAt("panel", 3, 0.5, 2.0),), chord_pen=Pen(0.9, cover=0.9), marks="quartered",
    strings=(String(-150.0, 15.0, 0.8, (0.06, 0.06, 0.07)),), fill=0.72, label="R4",
)  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder of photos: good, blurred, without string, of another card; and one that is no photo."""
    place = tmp_path_factory.mktemp("photos")
    good = draw(GOOD)[0]
    bare = draw(replace(GOOD, strings=()))[0]
    other = good.copy()
    other[:, :, :] = 128
    pictures = {"good": good, "bare": bare, "none": other, "soft": cv2.GaussianBlur(good, (0, 0), 7.0)}
    for name, bgr in pictures.items():
        (place / f"{name}.jpg").write_bytes(jpeg_bytes(bgr, PHONE))
    (place / "notes.jpg").write_text("not a photo")
    return place


def job():
    return replace(job_for(GOOD), gauge=Gauge(readings=None))


def check(folder, name, **changes):
    return check_photo(Source(folder / name, name), replace(job(), **changes))


def test_a_good_photo_has_everything(folder):
    seen = check(folder, "good.jpg")
    assert seen.fit and seen.station == "R4" and seen.cards == (("panel", 3),)
    assert (seen.chord, seen.reference, seen.spar) == (True, "plumb", True)
    assert seen.marks == 2 and seen.blur_px < 2.0
    read = read_photo(str(folder / "good.jpg"), job())
    assert seen.budget == read.chord.quantity.budget() and pytest.approx(read.chord.quantity.U) == seen.U
    assert [t.code for t in seen.troubles] == ["no-lens-profile"]


@pytest.mark.parametrize(
    ("name", "code", "words"),
    [
        ("soft.jpg", "no-station", "blurred, its sharpest edges"),
        ("bare.jpg", "level", "hang"),
        ("none.jpg", "no-station", "no station card"),
        ("notes.jpg", "unreadable", "not a photo"),
    ],
)
def test_what_is_missing_is_named_with_its_remedy(folder, name, code, words):
    seen = check(folder, name)
    stop = [t for t in seen.troubles if t.grade == "missing"]
    assert not seen.fit and [t.code for t in stop] == [code] and words in stop[0].text


def test_a_card_of_no_station_is_told(folder):
    stations = (replace(job().stations[0], cards=(9,)),)
    (trouble,) = check(folder, "good.jpg", stations=stations).troubles
    assert "card 3 belongs to no station" in trouble.text


def test_the_whole_job(folder):
    second = replace(job().stations[0], name="R5", cards=(5, 6))
    wing = replace(
        job(),
        stations=(replace(job().stations[0], cards=(3, 4)), second),
        folder=folder,
        gauge=Gauge(readings="gauge.csv"),
    )
    sources = [Source(folder / f"{n}.jpg", f"{n}.jpg") for n in ("good", "none")]
    got = check_job(wing, sources, workers=1)
    r4, r5 = got.stations
    assert r4.ready and r4.unseen == (4,)
    assert not r5.ready and r5.troubles[0].text == "no photo shows it (card 5 or 6)"
    assert [p.name for p in got.stray] == ["none.jpg"]
    assert not got.ready and any("gauge.csv is not there" in t.text for t in got.troubles)
    largest = max(r4.photos[0].budget, key=r4.photos[0].budget.get)
    assert got.limit.startswith(f"What limits U most: {largest}, ")


def test_a_slip_of_the_point_is_asked_about_in_the_job_and_in_the_gauges_file(tmp_path):
    (station,) = job().stations
    (tmp_path / "gauge.csv").write_text("station,angle\nR4,15\nR4,1.4\n")
    wing = replace(job(), stations=(replace(station, chord_deg=1.5),), folder=tmp_path, gauge=Gauge("gauge.csv"))
    asked = [t.text for t in check_job(wing, []).troubles if t.code == "gauge-row"]
    assert asked == ["gauge.csv: row 2: R4 chord: 15° is far from the design of 1.5°; did you mean 1.5?"]
    (hint,) = (h for h in lint(replace(wing, stations=(replace(station, chord_deg=15.0),))) if h.code == "chord-far")
    assert "is the point lost, 1.50°?" in hint.words


def test_without_lines_nothing_is_said_of_them(folder):
    seen = check_photo(Source(folder / "bare.jpg", "bare.jpg"), job(), lines=False)
    assert seen.fit and seen.chord is None and seen.reference is None


def test_several_processes_say_the_same(folder):
    sources = [Source(folder / f"{n}.jpg", n) for n in ("good", "none", "soft", "notes")]
    assert check_job(job(), sources, lines=False, workers=2) == check_job(job(), sources, lines=False, workers=1)


def test_a_mistyped_station_is_answered_with_the_nearest():
    with pytest.raises(UserError, match="did you mean R4"):
        find_station(job(), "R44")
    assert find_station(job(), "r4").name == "R4"


def test_the_command(folder, tmp_path, capsys):
    text = """
[wing]
name = "drawn"
root = "R4"
[[station]]
name = "R4"
side = "right"
span_mm = 1000
chord_mm = 900
cards = [3]
chord_deg = 1.0
chord_tolerance_deg = 0.25
"""
    (tmp_path / "wing.toml").write_text(text)
    assert run(["check", str(tmp_path / "wing.toml"), str(folder / "good.jpg"), "--quick"]) == 0
    shown = capsys.readouterr().out
    assert "1 of 1 stations can be measured." in shown and "calibrate lens" in shown
    assert run(["check", str(tmp_path / "wing.toml"), str(folder / "none.jpg")]) == 1
    assert "R4: no photo shows it (card 3)" in capsys.readouterr().out
    assert run(["check", str(tmp_path / "wing.toml"), str(folder), "--station", "R5"]) == 2
    assert "did you mean R4?" in capsys.readouterr().err
    assert np.all(cv2.imread(str(folder / "none.jpg")) == 128)


@pytest.mark.parametrize("blur", [0.8, 2.0, 5.0, 9.0])
def test_the_width_of_edges_is_told(blur):
    rng = np.random.default_rng(3)
    board = np.kron(rng.integers(0, 2, (12, 16)), np.ones((60, 60))) * 150 + 40
    gray = cv2.GaussianBlur(board, (0, 0), blur) + rng.normal(0, 2.0, board.shape)
    assert edge_width(np.clip(gray, 0, 255).astype(np.uint8)) == pytest.approx(blur, rel=0.15, abs=0.3)


def test_a_picture_without_edges_has_no_width():
    assert np.isnan(edge_width(np.full((300, 400), 128, np.uint8)))
