"""The order through the commands: what was said is kept, what was turned opens what hangs on it, nothing is lost."""

from __future__ import annotations

import json
import shutil
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from rigging.batch.find import find_photos
from rigging.batch.run import Options
from rigging.cli.main import run
from rigging.record.chain import find_record, numbers, record_folder
from rigging.record.now import as_of_now
from rigging.record.verify import verify
from rigging.survey.run import Wanted, take_survey
from rigging.survey.turned import Turned, take_turned
from tests.order_steps import STEPS

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
FAKE = Options(workers=0, overlays=False, reader="survey_reader:read_photo")


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A job with steps, and photos R1 to R3; `again` holds others of the same stations."""
    job_file = tmp_path / "wing.toml"
    job_file.write_text((SAMPLE / "trainer.toml").read_text("utf-8") + STEPS)
    shutil.copy(SAMPLE / "gauge.csv", tmp_path / "gauge.csv")
    rng = np.random.default_rng(3)
    for folder in ("photos", "again"):
        (tmp_path / folder).mkdir()
        for name in ("R1", "R2", "R3"):
            Image.fromarray(rng.integers(0, 255, (120, 160), np.uint8)).save(tmp_path / folder / f"{name}.png")
    return job_file


def take(shop: Path, folder: str = "photos", at: datetime | None = None) -> None:
    take_survey(shop, find_photos([shop.parent / folder]), shop.parent / "out", Wanted(at=at), FAKE)


def turned(shop: Path, *names: str) -> Turned:
    photos = [shop.parent / "again" / f"{name}.png" for name in names]
    return take_turned(shop, find_photos(photos), shop.parent / "out", FAKE)


def state(shop: Path, step: str) -> str:
    return find_record(shop, "last").survey().setup.step(step).state


def test_a_turned_root_opens_washout_and_clamping_until_they_are_looked_at_again(shop: Path):
    take(shop, at=datetime(2026, 5, 1, 9, 0))
    assert run(["done", str(shop), "level on the root", "0.05"]) == 0
    assert run(["done", str(shop), "clamped"]) == 0
    assert [state(shop, s) for s in ("root", "washout", "clamped")] == ["right"] * 3
    news = turned(shop, "R1")
    assert news.stations == ("R1",) and "photograph again R2 and R3" in news.taken.survey.setup.words
    assert [state(shop, s) for s in ("root", "washout", "clamped")] == ["right", "open again", "open again"]
    again = turned(shop, "R2", "R3")
    asked = find_record(shop, "last").materials.asked
    assert set(again.taken.survey.setup.opened()) == set() and asked.turned["R2"] == asked.turned["R1"]
    assert [
        w for w in asked.set_aside.values() if "what it hangs on was turned or done" in w
    ]  # their photos from before
    assert [state(shop, s) for s in ("root", "washout", "clamped")] == ["right", "right", "open again"]
    assert run(["done", str(shop), "clamped"]) == 0 and run(["order", str(shop)]) == 0
    assert verify(shop) == ()


def test_a_station_photographed_for_the_first_time_was_not_turned(shop: Path):
    photo = shop.parent / "photos" / "R1.png"
    take_survey(shop, find_photos([photo]), shop.parent / "out", Wanted(), FAKE)
    turned(shop, "R2")
    asked = find_record(shop, "last").materials.asked
    assert asked.turned == {} and asked.set_aside == {} and find_record(shop, "last").note == "photographed: R2"


def test_a_reading_that_was_mended_opens_what_hangs_on_it(shop: Path):
    take(shop, at=datetime(2026, 5, 1, 9, 0))
    assert run(["done", str(shop), "level on the root", "0,4"]) == 1  # out of tolerance
    assert (state(shop, "root"), state(shop, "washout")) == ("wrong", "right")
    assert run(["done", str(shop), "level on the root", "-0.05"]) == 0
    assert (state(shop, "root"), state(shop, "washout")) == ("right", "open again")


def test_photos_exchanged_in_the_folder_show_by_themselves_that_a_rib_was_turned(shop: Path, monkeypatch):
    import survey_reader

    take(shop, at=datetime(2026, 5, 1, 9, 0))
    run(["done", str(shop), "clamped"])
    shutil.copy(shop.parent / "again" / "R1.png", shop.parent / "photos" / "R1.png")
    real = dict(survey_reader.truth())
    told = {**real, "R1": {**real["R1"], "chord_deg": real["R1"]["chord_deg"] + 1.0}}
    monkeypatch.setattr(survey_reader, "truth", lambda: told)
    take(shop)
    assert "R1" in find_record(shop, "last").materials.asked.moved
    assert state(shop, "washout") == "open again"  # R2 and R3 are on the photos from before


def test_what_is_said_is_kept_and_can_be_taken_back_and_only_what_can_be_said(shop: Path, capsys):
    assert run(["order", str(shop)]) == 1
    assert "Next: root: photograph R1; read level on the root" in capsys.readouterr().out
    assert run(["done", str(shop), "CLAMPED"]) == 0
    assert as_of_now(shop).setup.step("clamped").waits == ("washout",)
    assert run(["done", str(shop), "clamped", "--not"]) == 1
    assert as_of_now(shop).setup.step("clamped").state == "to do"
    for words, said in (
        (["root"], "is right when its checks are"),
        (["clampd"], "did you mean clamped?"),
        (["level on the root"], "needs what it reads"),
        (["level on the root", "lots"], "is not an angle"),
        (["level on the root", "400"], "at most 180"),
        (["clamped", "3"], "takes no value"),
    ):
        capsys.readouterr()
        assert run(["done", str(shop), *words]) == 2
        error = capsys.readouterr().err
        assert said in error and error.count("\n") == 1
    assert len(numbers(record_folder(shop))) == 2 and verify(shop) == ()


def test_a_job_that_no_longer_fits_its_readings_is_not_said_anything_of(shop: Path, capsys):
    take(shop)
    text = shop.read_text("utf-8")
    shop.write_text(text.replace("u_lean_deg = 0.5", "u_lean_deg = 0.1"))
    assert run(["done", str(shop), "clamped"]) == 2
    assert "measure again" in capsys.readouterr().err
    shop.write_text(text.replace('name = "clamped"', 'name = "locked"'))  # the order bears on no reading
    assert run(["done", str(shop), "locked"]) == 0


def test_the_record_and_the_report_hold_the_states(shop: Path):
    take(shop)
    assert json.loads(find_record(shop, "last").path.read_text())["result"]["steps"]["washout"] == "right"
    assert run(["report", str(shop)]) == 0
    page = (shop.parent / "wing-report" / "report.html").read_text("utf-8")
    assert "The set-up, step by step" in page and "level on the root: not read yet" in page
    told = json.loads((shop.parent / "wing-report" / "survey.json").read_text("utf-8"))
    assert [s["name"] for s in told["steps"]] == ["root", "washout", "clamped"]
    assert told["steps"][1]["checks"][0]["name"] == "R2/chord" and told["next"].startswith("Next: root")


def test_a_record_from_before_the_order_was_kept_still_stands(shop: Path):
    from rigging.record.chain import head_file, sealed

    take(shop)
    path = find_record(shop, "last").path
    tree = json.loads(path.read_text())
    del tree["seal"], tree["result"]["steps"]
    for key in ("moved", "came", "told"):
        del tree["materials"]["asked"][key]
    path.write_bytes(sealed(tree))
    head_file(record_folder(shop)).unlink()
    assert {t.kind for t in verify(shop)} <= {"missing"}  # the head alone
    assert find_record(shop, "last").survey().setup.step("washout").state == "right"


def test_a_clock_that_was_set_back_reverses_no_order(shop: Path):
    take(shop, at=datetime(2036, 5, 1, 9, 0))
    run(["done", str(shop), "clamped"])
    turned(shop, "R1")
    asked = find_record(shop, "last").materials.asked
    assert asked.turned["R1"] > asked.told["clamped"].at > "2036" and asked.now < "2036"
    assert state(shop, "clamped") == "open again" and state(shop, "washout") == "open again"
