"""The record of surveys: append-only, sealed, chained, reproducible; and its commands."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from survey_reader import truth

from rigging.batch.find import find_photos
from rigging.batch.run import Options
from rigging.cli.main import run
from rigging.record.chain import find_record, head_file, numbers, record_folder, seal_holds
from rigging.record.verify import differences, verify
from rigging.survey.run import Wanted, take_survey
from shared.errors import UserError
from shared.files import sha256_of

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
FAKE = Options(workers=0, overlays=False, reader="survey_reader:read_photo")


def take(job_file: Path, photos: Path, day: int, **asked) -> Path:
    wanted = Wanted(at=datetime(2026, 5, day, 9, 30), **asked)
    return take_survey(job_file, find_photos([photos]), job_file.parent / "out", wanted, FAKE).record


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """A job with two surveys: R3 and R5 photographed anew for the second."""
    home = tmp_path_factory.mktemp("shop")
    job_file = home / "wing.toml"
    shutil.copy(SAMPLE / "trainer.toml", job_file)
    shutil.copy(SAMPLE / "gauge.csv", home / "gauge.csv")
    rng = np.random.default_rng(6)
    for folder in ("before", "after"):
        (home / folder).mkdir()
        for name in truth():
            Image.fromarray(rng.integers(0, 255, (120, 160), dtype=np.uint8)).save(home / folder / f"{name}.png")
    take(job_file, home / "before", 1, note="before glue, dry")
    take(job_file, home / "after", 2, set_aside={"R4b.png": "the string swung"})
    return home


@pytest.fixture
def shop(made: Path, tmp_path: Path) -> Path:
    """A copy to tamper with."""
    home = tmp_path / "shop"
    shutil.copytree(made, home)
    return home / "wing.toml"


def test_surveys_are_numbered_chained_and_sealed(made: Path):
    known = numbers(record_folder(made / "wing.toml"))
    assert list(known) == [1, 2]
    second = json.loads(known[2].read_text())
    assert second["previous"] == sha256_of(known[1])
    assert all(seal_holds(p.read_bytes()) for p in known.values())
    assert second["result"]["verdict"].startswith("Not right as it stands: the jig of the right outer bay")


def test_untouched_record_stands(made: Path):
    assert verify(made / "wing.toml") == ()


def test_verdict_is_worked_out_again_from_the_file_alone(shop: Path):
    shutil.rmtree(shop.parent / "before")
    (shop.parent / "gauge.csv").unlink()
    record = find_record(shop, "1")
    survey = record.survey()
    assert survey.verdict == record.result["verdict"]
    assert survey.provenance.evaluated_at == "2026-05-01T09:30:00"
    assert survey.crosscheck is not None and len(survey.crosscheck.pairs) == 24


def test_a_job_changed_later_does_not_change_the_past(shop: Path):
    shop.write_text(shop.read_text().replace("chord_tolerance_deg = 0.25", "chord_tolerance_deg = 5.0"))
    assert "rib L3" in find_record(shop, "last").survey().verdict
    assert {(t.kind, t.thing) for t in verify(shop)} == {("note", "wing.toml")}


def test_a_changed_photo_is_found(shop: Path):
    photo = shop.parent / "before" / "R3.png"
    photo.write_bytes(photo.read_bytes() + b" ")
    (found,) = verify(shop)
    assert (found.survey, found.kind, found.thing) == (1, "changed", "photo R3.png")


def test_a_lost_photo_is_found(shop: Path):
    (shop.parent / "after" / "L2.png").unlink()
    assert [(t.survey, t.kind, t.thing) for t in verify(shop)] == [(2, "missing", "photo L2.png")]


def test_a_changed_number_in_a_record_is_found(shop: Path):
    path = numbers(record_folder(shop))[1]
    raw = path.read_bytes()
    at = raw.index(b'"value":') + len(b'"value":')
    path.write_bytes(raw[:at] + b"9" + raw[at + 1 :])
    kinds = {(t.survey, t.thing) for t in verify(shop) if t.kind == "broken"}
    assert (1, "0001.json") in kinds and (2, "0002.json") in kinds


def test_a_doctored_verdict_is_found_even_with_a_fresh_seal(shop: Path):
    from rigging.record.chain import sealed

    path = numbers(record_folder(shop))[2]
    tree = json.loads(path.read_text())
    del tree["seal"]
    tree["result"]["states"]["R5"] = "conforming"
    path.write_bytes(sealed(tree))
    found = {t.thing: t for t in verify(shop)}
    assert found["verdict"].kind == "broken" and "states R5" in found["verdict"].text
    assert "wing-surveys.head" in found["0002.json"].text  # the head kept apart knows the file's own SHA-256


def edit_a_value(shop: Path, number: int) -> None:
    """A hand's work: the first value's first figure becomes another."""
    path = numbers(record_folder(shop))[number]
    raw = path.read_bytes()
    at = raw.index(b'"value":') + len(b'"value":')
    path.write_bytes(raw[:at] + (b"8" if raw[at : at + 1] == b"9" else b"9") + raw[at + 1 :])


def take_the_newest_out(shop: Path) -> None:
    numbers(record_folder(shop))[2].unlink()


def lose_the_head(shop: Path) -> None:
    head_file(record_folder(shop)).unlink()


@pytest.mark.parametrize(
    ("tamper", "words"),
    [
        (lambda shop: edit_a_value(shop, 1), "survey 1 was changed after it was written"),
        (take_the_newest_out, "survey 2 was taken out of the record"),
        (lose_the_head, "wing-surveys.head is missing"),
    ],
)
def test_every_reader_of_the_record_says_first_what_does_not_hold(shop: Path, tamper: Any, words: str, capsys):
    job = str(shop)
    readers = [["show", job, "1"], ["show", job, "1", "--json"], ["log", job], ["budget", job, "L3", "--survey", "1"],
               ["compare", job, "1", "--mirrored"], ["gauge", "check", job, "1"],
               ["report", job, "--survey", "1"]]  # fmt: skip
    for reader in readers:
        run(reader)
    assert "DOES NOT HOLD" not in "".join(capsys.readouterr())
    tamper(shop)
    for reader in readers:
        code = run(reader)
        told = capsys.readouterr()
        assert told.err.startswith("ribangle: THE RECORD DOES NOT HOLD") and words in told.err, reader
        assert code == 1 or reader[0] not in ("show", "log"), reader
    assert find_record(shop, "1").survey().verdict.startswith("THE RECORD DOES NOT HOLD")
    assert "THE RECORD DOES NOT HOLD" in (shop.parent / "wing-report" / "report.html").read_text("utf-8")
    assert run(["verify", job]) == 1 and words in capsys.readouterr().out


def test_a_record_whose_only_survey_was_taken_out_is_no_empty_record(shop: Path, capsys):
    for path in numbers(record_folder(shop)).values():
        path.unlink()
    assert run(["log", str(shop)]) == 1 and "surveys 1 to 2 were taken out" in capsys.readouterr().err
    assert run(["verify", str(shop)]) == 1


def test_a_survey_taken_out_is_found(shop: Path):
    numbers(record_folder(shop))[1].unlink()
    assert any("survey 1 is missing" in t.text for t in verify(shop))


def test_damaged_record_is_one_line(shop: Path, capsys):
    numbers(record_folder(shop))[2].write_text("{")
    assert run(["show", str(shop)]) == 2
    assert "damaged" in capsys.readouterr().err
    assert run(["verify", str(shop)]) == 1


def test_keeping_never_overwrites(shop: Path):
    before = {p: p.read_bytes() for p in numbers(record_folder(shop)).values()}
    path = take(shop, shop.parent / "after", 3)
    assert path.name == "0003.json"
    assert all(p.read_bytes() == raw for p, raw in before.items())
    assert verify(shop) == ()


def test_set_aside_photo_must_exist(shop: Path):
    with pytest.raises(UserError, match=r"did you mean R4\.png"):
        take(shop, shop.parent / "after", 3, set_aside={"R4.pn": "why not"})


def test_killed_while_keeping_leaves_a_whole_record(shop: Path):
    # the process dies at the moment the file would take its name; the record is as before, and goes on
    code = (
        "import os, pathlib, sys; sys.path[:0] = [sys.argv[2], sys.argv[3]]\n"
        "die = lambda a, b: os._exit(9) if b.parent.name == 'wing-surveys' else os.replace(a, b)\n"
        "pathlib.Path.replace = die; job = pathlib.Path(sys.argv[1])\n"
        "import test_record; test_record.take(job, job.parent / 'after', 4)"
    )
    here = Path(__file__).parent
    died = subprocess.run(
        [sys.executable, "-c", code, str(shop), str(here), str(here.parent)],
        check=False,
        env={**os.environ, "PYTHONWARNINGS": "ignore"},
    )
    assert died.returncode == 9
    assert list(numbers(record_folder(shop))) == [1, 2] and verify(shop) == ()
    assert take(shop, shop.parent / "after", 4).name == "0003.json"
    assert verify(shop) == ()


def test_commands_read_the_record_back(made: Path, capsys):
    job = str(made / "wing.toml")
    assert run(["log", job]) == 0
    assert "before glue, dry" in capsys.readouterr().out
    assert run(["show", job, "1"]) == 0
    shown = " ".join(capsys.readouterr().out.split())  # lines break where the terminal's width has them
    assert "the jig of the right outer bay (R5 and R6) and rib L3 are wrong" in shown
    assert "turn the screw anticlockwise" in shown and "An aid, not an inspection" in shown
    assert run(["show", job, "-2"]) == 0
    assert capsys.readouterr().out.startswith("Survey 1,")
    assert run(["show", job, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["number"] == 2
    assert run(["verify", job]) == 0
    assert "2 surveys checked" in capsys.readouterr().out


def test_set_aside_photo_is_shown_with_its_reason(made: Path, capsys):
    assert run(["show", str(made / "wing.toml"), "2"]) == 0
    assert "R4b.png set aside: the string swung" in capsys.readouterr().out


def test_budget_is_shown_largest_first(made: Path, tmp_path: Path, capsys):
    bars = tmp_path / "bars.png"
    assert run(["budget", str(made / "wing.toml"), "L3", "--picture", str(bars)]) == 0
    assert bars.read_bytes().startswith(b"\x89PNG")
    rows = [line for line in capsys.readouterr().out.splitlines() if "%" in line]
    shares = [int(row.split("%")[0].split()[-1].strip("│")) for row in rows]
    assert "marking of the chord line by hand" in rows[0] and "combined u" in rows[-1]
    assert shares[:-1] == sorted(shares[:-1], reverse=True) and shares[-1] == 100
    assert abs(sum(shares[:-1]) - 100) <= 2
    assert run(["budget", str(made / "wing.toml"), "L33"]) == 2
    assert "did you mean L3?" in capsys.readouterr().err


def test_compare_draws_what_moved(made: Path, tmp_path: Path, capsys):
    job, picture = str(made / "wing.toml"), tmp_path / "moved.svg"
    assert run(["compare", job, "1", "2", "--picture", str(picture)]) in (0, 1)
    assert "survey 2" in capsys.readouterr().out
    assert picture.read_text().lstrip().startswith("<")
    assert run(["compare", job, "2", "--mirrored"]) == 1
    assert "L5/R5: left minus right" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["show", "{job}", "7"], "surveys 1 to 2"),
        (["compare", "{job}", "1"], "takes two surveys"),
        (["show", "{job}", "one"], "no such station"),
        (["verify", "{job}", "9"], "no such survey"),
        (["compare", "{job}", "1", "2", "--picture", "x.doc"], ".svg, .pdf or .png"),
    ],
)
def test_mistakes_are_one_line(made: Path, arguments: list[str], words: str, capsys):
    assert run([a.replace("{job}", str(made / "wing.toml")) for a in arguments]) == 2
    error = capsys.readouterr().err
    assert words in error and error.count("\n") == 1


def test_no_record_yet(tmp_path: Path, capsys):
    shutil.copy(SAMPLE / "trainer.toml", tmp_path / "wing.toml")
    assert run(["show", str(tmp_path / "wing.toml")]) == 2
    assert "ribangle survey wing.toml PHOTOS" in capsys.readouterr().err
    assert run(["log", str(tmp_path / "wing.toml")]) == 0


def test_differences_are_told_by_place():
    a = {"x": 1.0, "y": [1, {"z": "s"}]}
    assert list(differences(a, {"x": 1.0 + 1e-12, "y": [1, {"z": "s"}]})) == []
    assert list(differences(a, {"x": 1.1, "y": [1, {"z": "t"}]})) == ["x", "y 2 z"]
    assert list(differences(a, {"x": None, "y": [1]})) == ["x", "y"]
