"""The batch: the same result however it is run, nothing measured twice, no photo able to stop it."""

from __future__ import annotations

import csv
import errno
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from rigging.batch.find import find_photos
from rigging.batch.readings_file import load_readings
from rigging.batch.run import measure_batch
from shared.errors import UserError
from shared.files import sha256_of
from shared.job.model import Gauge, Glue
from tests.batch_help import (
    CRASH,
    FAKE,
    FAULT,
    HANG,
    MISTAKE,
    NO_VALUE,
    content,
    job,
    run,
    small_folder,
    small_photo,
)

POSIX = os.name == "posix"


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file that the fake reader writes the name of every photo it measures to."""
    path = tmp_path / "log"
    path.touch()
    monkeypatch.setenv("FAKE_READER_LOG", str(path))
    return path


def measured(log: Path) -> list[str]:
    names = sorted(log.read_text().split())
    log.write_text("")
    return names


def rows(out: Path) -> list[dict[str, str]]:
    with (out / "readings.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_the_number_of_workers_changes_nothing(tmp_path: Path) -> None:
    photos = small_folder(tmp_path / "photos", 9)
    results = []
    for workers in (0, 1, 3):
        out = tmp_path / f"out{workers}"
        assert run(photos, out, replace(FAKE, workers=workers)).exit_code == 0
        results.append(content(out))
    assert len(results[0]) == 9 + 9 + 2
    assert results[0] == results[1] == results[2]


def test_readings_are_sorted_by_station_and_name(tmp_path: Path) -> None:
    run(small_folder(tmp_path / "photos", 12), tmp_path / "out")
    order = [s.name for s in job().stations]
    keys = [(order.index(row["station"]), row["photo"]) for row in rows(tmp_path / "out")]
    assert keys == sorted(keys)
    assert [r.photo.name for r in load_readings(tmp_path / "out/readings.json")] == [k[1] for k in keys]


def test_only_what_changed_is_measured_again(tmp_path: Path, log: Path) -> None:
    photos, out = small_folder(tmp_path / "photos", 5), tmp_path / "out"
    run(photos, out)
    assert measured(log) == ["a0.png", "a1.png", "a2.png", "a3.png", "a4.png"]
    first = content(out)
    assert run(photos, out).known == 5
    assert measured(log) == []
    assert content(out) == first
    facts = (photos / "a1.png").stat()
    small_photo(photos / "a1.png", 99)  # other pixels, same size and times: only the content tells
    data = (photos / "a1.png").read_bytes()
    os.utime(photos / "a1.png", ns=(facts.st_atime_ns, facts.st_mtime_ns))
    small_photo(photos / "b.png", 7)
    (photos / "a2.png").unlink()
    assert run(photos, out).known == 3
    assert measured(log) == ["a1.png", "b.png"]
    assert (photos / "a1.png").read_bytes() == data
    assert {row["photo"] for row in rows(out)} == {"a0.png", "a1.png", "a3.png", "a4.png", "b.png"}
    assert len(list((out / "overlays").iterdir())) == 5, "overlays of photos that went are gone"
    run(photos, out, replace(FAKE, again=True))
    assert len(measured(log)) == 5


def test_what_bears_on_a_reading_makes_it_new(tmp_path: Path, log: Path) -> None:
    photos, out = small_folder(tmp_path / "photos", 2), tmp_path / "out"
    base = job(tmp_path)
    run(photos, out, the_job=base)
    measured(log)
    run(photos, out, the_job=replace(base, gauge=Gauge("x.csv"), glue=Glue(30.0, 60.0), stage="after glue"))
    assert measured(log) == []
    run(photos, out, the_job=replace(base, marking_u_deg=0.1))
    assert len(measured(log)) == 2
    (tmp_path / "lens").mkdir()
    (tmp_path / "lens" / "new.json").write_text("{}")
    run(photos, out, the_job=base)
    assert len(measured(log)) == 2
    run(photos, out, the_job=base)
    assert measured(log) == []


def test_damaged_or_missing_results_are_made_anew(tmp_path: Path, log: Path) -> None:
    photos, out = small_folder(tmp_path / "photos", 4), tmp_path / "out"
    run(photos, out)
    measured(log)
    first = content(out)
    records = sorted(out.glob(".kept/*/*.json"))
    data = bytearray(records[0].read_bytes())
    data[len(data) // 2] ^= 1
    records[0].write_bytes(data)
    records[1].write_bytes(b"")
    next((out / "overlays").iterdir()).unlink()
    (out / "overlays" / ".part-0123.tmp").write_bytes(b"half")
    (out / "readings.csv").unlink()
    run(photos, out)
    assert 2 <= len(measured(log)) <= 3, "the overlay lost may belong to a record damaged"
    assert content(out) == first


def test_no_photo_stops_the_batch(tmp_path: Path) -> None:
    photos = small_folder(tmp_path / "photos", 4)
    small_photo(photos / "fault.png", 20, FAULT)
    small_photo(photos / "nothing.png", 21, NO_VALUE)
    small_photo(photos / "crash.png", 22, CRASH)
    (photos / "text.jpg").write_text("Dear builder\n" * 20)
    (photos / "empty.heic").touch()
    (photos / "notes.txt").write_text("no photo at all")
    (photos / "._a0.png").write_bytes(b"left by another system")
    (photos / "folder.jpg").mkdir()
    bad = {
        "fault.png": "a fault of the tool, ValueError",
        "crash.png": "the worker died",
        "nothing.png": "no chord line",
        "text.jpg": "a text file",
        "empty.heic": "empty",
    }
    if POSIX:
        os.mkfifo(photos / "pipe.jpg")
        (photos / "lost.jpg").symlink_to("nowhere.jpg")
        (photos / "loop.jpg").symlink_to("loop.jpg")
        bad |= {"pipe.jpg": "not a regular file", "lost.jpg": "points to nothing", "loop.jpg": "cannot be opened"}
    result = run(photos, tmp_path / "out", replace(FAKE, workers=2))
    assert (result.exit_code, result.measured, len(result.lines)) == (1, 4, 4 + len(bad))
    reason = {row["photo"]: row["reason"] for row in rows(tmp_path / "out") if not row["chord_deg"]}
    assert set(reason) == set(bad)
    for name, words in bad.items():
        assert words in reason[name]


def test_a_photo_that_takes_too_long_is_named_and_the_others_are_measured(tmp_path: Path) -> None:
    photos = small_folder(tmp_path / "photos", 5)
    small_photo(photos / "a2-hangs.png", 30, HANG)
    limited = replace(FAKE, workers=2, seconds=5.0)
    result = run(photos, tmp_path / "out", limited)
    assert (result.measured, result.exit_code) == (5, 1)
    slow = {row["photo"]: row["reason"] for row in rows(tmp_path / "out")}["a2-hangs.png"]
    assert slow == "took longer than the limit of 5 s a photo, twice: raise --time-limit, or take the photo again"
    (photos / "a2-hangs.png").unlink()
    again = run(photos, tmp_path / "out", limited)
    assert (again.known, again.exit_code) == (5, 0)
    alone = run(photos, tmp_path / "other", FAKE)
    assert alone.measured == 5
    assert content(tmp_path / "out") == content(tmp_path / "other")


def test_exit_codes(tmp_path: Path) -> None:
    small_photo(tmp_path / "p/a.png", 1)
    assert run(tmp_path / "p", tmp_path / "out").exit_code == 0
    small_photo(tmp_path / "p/b.png", 2, NO_VALUE)
    assert run(tmp_path / "p", tmp_path / "out").exit_code == 1
    (tmp_path / "p/a.png").unlink()
    assert run(tmp_path / "p", tmp_path / "out").exit_code == 3


def test_a_mistake_of_the_user_stops_it_in_one_line(tmp_path: Path) -> None:
    small_photo(tmp_path / "p/a.png", 1, MISTAKE)
    for workers in (0, 1):
        with pytest.raises(UserError, match="lens: a made-up mistake; mend it"):
            run(tmp_path / "p", tmp_path / "out", replace(FAKE, workers=workers))


def test_two_runs_keep_out_of_each_others_way(tmp_path: Path) -> None:
    photos, out = small_folder(tmp_path / "photos", 2), tmp_path / "out"

    def meddle(done: int, _total: int) -> None:
        if done == 1:
            with pytest.raises(UserError, match="another run is writing"):
                run(photos, out)

    measure_batch(job(photos), find_photos([photos]), out, FAKE, meddle)
    assert run(photos, out).known == 2


@pytest.mark.parametrize(("number", "words"), [(errno.ENOSPC, "make room on"), (errno.EROFS, "--out")])
def test_a_disk_that_takes_no_more_is_reported_and_nothing_is_half_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, words: str
) -> None:
    photos, out = small_folder(tmp_path / "photos", 4), tmp_path / "out"
    room = [5]
    real = os.fsync

    def fsync(handle: int) -> None:
        room[0] -= 1
        if room[0] < 0:
            raise OSError(number, os.strerror(number))
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(UserError, match=words) as caught:
        run(photos, out)
    assert os.strerror(number) in str(caught.value)
    left = content(out)
    assert not any(".part-" in name for name in left)
    assert "readings.json" not in left
    monkeypatch.undo()
    assert run(photos, out).known == 2
    run(photos, tmp_path / "fresh")
    assert content(out) == content(tmp_path / "fresh")


def test_a_folder_that_cannot_be_made_is_reported(tmp_path: Path) -> None:
    photos = small_folder(tmp_path / "photos", 1)
    (tmp_path / "file").touch()
    with pytest.raises(UserError, match="cannot be written to"):
        run(photos, tmp_path / "file" / "out")


def test_copies_of_a_photo_are_no_second_witness(tmp_path: Path) -> None:
    small_photo(tmp_path / "p/a.png", 1)
    small_photo(tmp_path / "p/b.png", 1)
    small_photo(tmp_path / "q/a.png", 2)
    sources = find_photos([tmp_path / "p", tmp_path / "q", tmp_path / "p" / "a.png"])
    assert len(sources) == 3
    measure_batch(job(), sources, tmp_path / "out", FAKE)
    readings = load_readings(tmp_path / "out/readings.json")
    flagged = [r.photo.name for r in readings if any(f.code == "same-photo" for f in r.flags)]
    assert flagged == ["b.png"]
    assert len({row["overlay"] for row in rows(tmp_path / "out")}) == 3


@pytest.mark.skipif(not POSIX, reason="links take special rights on Windows")
def test_links_out_of_the_folder_are_refused_unless_asked_for(tmp_path: Path) -> None:
    outside = small_photo(tmp_path / "private/x.png", 5)
    photos = small_folder(tmp_path / "photos", 1)
    (photos / "out.png").symlink_to(outside)
    (photos / "in.png").symlink_to("a0.png")
    result = run(photos, tmp_path / "out")
    assert result.measured == 2
    refused = next(row for row in rows(tmp_path / "out") if row["photo"] == "out.png")
    assert "leads out of the folder" in refused["reason"]
    assert refused["sha256"] == "", "nothing outside was even read"
    result = measure_batch(job(), find_photos([photos], follow_links=True), tmp_path / "out", FAKE)
    assert result.exit_code == 0


def test_places_that_hold_no_photo(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="there is no photo"):
        find_photos([tmp_path])
    with pytest.raises(UserError, match="no such file or folder"):
        find_photos([tmp_path / "none"])
    with pytest.raises(UserError, match=r"cannot be looked into|no such file"):
        find_photos([Path("a\0b")])


NAMES = [
    "=1+1.png",
    "+x.png",
    "-2.png",
    "@SUM(A1).png",
    "\tt.png",
    "肋 1.png",
    "ребро.png",
    "ضلع.png",
    "a b.png",
    "con.png",
    "NUL.x.png",
    "<script>alert(1)</script>".replace("/", "_") + ".png",
    "new\nline.png",
    "esc\x1b[31m.png",
    "\u202egnp.png",
    "n" * 240 + ".png",
    "肋" * 80 + ".png",
    'quote".png',
    "'.png",
    ".hidden.png",
    "%s{}.png",
    "a&b.png",
    "-.png",
    "trailing. .png",
    os.fsdecode(b"\xff\xfe.png"),
]


def test_names_of_every_kind(tmp_path: Path) -> None:
    photos = tmp_path / "photos"
    made = 0
    for number, name in enumerate(NAMES):
        try:
            small_photo(photos / name, number)
        except OSError:
            continue  # this file system knows no such name; Linux knows them all
        made += not name.startswith(".")
    assert made == len(NAMES) - 1 or sys.platform != "linux"
    result = run(photos, tmp_path / "out", replace(FAKE, workers=1))
    assert result.exit_code == 0
    assert len(result.lines) == made
    for path in (tmp_path / "out/overlays").iterdir():
        assert len(path.name.encode()) <= 143, "short enough for every file system, encrypted ones too"
        assert not set(path.name) & set('<>:"/\\|?*\n\x1b\t')
        assert path.name.split("-")[0].split(".")[0].lower() not in ("con", "nul")
    for row in rows(tmp_path / "out"):
        assert row["photo"][0] not in "=+-@\t"
        assert (tmp_path / "out" / row["overlay"]).is_file()
        assert row["photo"].isprintable()


def test_a_script_fed_by_standard_input_can_measure_with_workers(tmp_path: Path) -> None:
    photos = small_folder(tmp_path / "photos", 3)
    script = (Path(__file__).parent / "run_batch.py").read_text("utf-8")
    ran = subprocess.run(
        [sys.executable, "-", str(photos), str(tmp_path / "out"), "2"],
        input=script,
        text=True,
        capture_output=True,
        check=False,
        cwd=Path(__file__).parents[1],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    table = (tmp_path / "out/readings.csv").read_text("utf-8")
    assert "the worker died" not in table
    assert all(f"a{k}.png" in table for k in range(3))


def test_a_name_of_255_bytes_and_a_bad_hints_file_cost_the_others_nothing(tmp_path: Path) -> None:
    photos = small_folder(tmp_path / "photos", 2)
    small_photo(photos / ("x" * 251 + ".png"), 7)  # no room for the ending .hints
    (photos / "a0.png.hints").write_text("chord here to there\n")
    result = run(photos, tmp_path / "out")
    assert (result.measured, len(result.lines)) == (2, 3)
    reasons = {r.photo.name: r.chord.reason for r in load_readings(result.json) if not r.measured}
    assert list(reasons) == ["a0.png"] and "a0.png.hints" in str(reasons["a0.png"])


@pytest.mark.skipif(not POSIX, reason="links and pipes")
def test_what_takes_a_photos_place_after_the_check_is_not_followed(tmp_path: Path) -> None:
    photos, secret = small_folder(tmp_path / "photos", 3), small_photo(tmp_path / "elsewhere.png", 9)
    sources = find_photos([photos])
    for name in ("a0.png", "a1.png"):
        (photos / name).unlink()
    (photos / "a0.png").symlink_to(secret)
    os.mkfifo(photos / "a1.png")
    result = measure_batch(job(photos), sources, tmp_path / "out", FAKE)
    reasons = {r.photo.name: str(r.chord.reason) for r in load_readings(result.json) if not r.measured}
    assert "link" in reasons["a0.png"] and "pipe" in reasons["a1.png"] and result.measured == 1
    assert sha256_of(secret) not in result.json.read_text()
