"""The command line: every failure is one line and a code; nothing heavy is loaded to say it."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

from rigging.batch import run as batch
from rigging.cli import main as cli
from rigging.cli.main import COMMANDS, missing_library, run
from shared.errors import UserError
from shared.job.file import load_job
from tests.batch_help import FAKE, FAULT, NO_VALUE, small_folder, small_photo

HOME = Path(__file__).parent.parent


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a job; `measure` reads with the fake reader, in this process."""
    real = batch.measure_batch

    def measure_batch(job, sources, folder, options, tell):  # type: ignore[no-untyped-def]
        from dataclasses import replace

        options = replace(options, workers=0, reader=FAKE.reader, drawer=FAKE.drawer)
        return real(job, sources, folder, options, tell)

    monkeypatch.setattr(batch, "measure_batch", measure_batch)
    monkeypatch.chdir(tmp_path)
    assert run(["new", "wing.toml"]) == 0
    return tmp_path


def test_new_writes_a_job_that_loads(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert len(load_job(shop / "wing.toml").stations) == 12
    assert run(["new", "wing.toml"]) == 2
    assert run(["new", "other.txt"]) == 2
    assert run(["new", "none/other.toml"]) == 2
    assert run(["new", "other.toml", "--stations", "16"]) == 2
    assert run(["new", "other.toml", "--angle", "2", "99"]) == 2
    errors = capsys.readouterr().err.splitlines()
    assert len(errors) == 5
    assert all(line.startswith("ribangle: ") for line in errors)
    assert run(["new", "wing.toml", "--force", "--stations", "2", "--name", "Zwei"]) == 0
    assert load_job(shop / "wing.toml").wing.name == "Zwei"


def test_measure_tells_by_its_exit_code(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    small_folder(shop / "photos", 3)
    assert run(["measure", "wing.toml", "photos"]) == 0
    out = capsys.readouterr().out
    assert "3 of 3 photos measured" in out
    assert "not an inspection" in out
    assert "a0.png" in out
    assert {p.name for p in (shop / "wing-readings").iterdir()} == {
        ".kept",
        "overlays",
        "readings.csv",
        "readings.json",
    }
    small_photo(shop / "photos/[red]b.png", 8, NO_VALUE)
    assert run(["measure", "wing.toml", "photos", "photos/a1.png"]) == 1
    out = capsys.readouterr().out
    assert "3 of 4 photos measured, 3 of them known from before" in out
    assert "[red]b.png" in out
    small_photo(shop / "fault.png", 9, FAULT)
    assert run(["measure", "wing.toml", "fault.png", "--out", "elsewhere"]) == 3
    for arguments in (
        ["measure", "wing.toml"],
        ["measure", "none.toml", "photos"],
        ["measure", "wing.toml", "nowhere"],
        ["measure", "wing.toml", "wing-readings"],
        ["measure", "wing.toml", "photos", "--jobs", "0"],
        ["measure", "wing.toml", "photos", "--jbos"],
        ["measure", "photos/a1.png", "photos"],
        ["measur"],
    ):
        capsys.readouterr()
        assert run(arguments) == 2, arguments
        captured = capsys.readouterr()
        assert captured.out == ""
        assert len(captured.err.splitlines()) == 1, captured.err
        assert captured.err.startswith("ribangle: ")


def test_json_is_the_readings_file_and_nothing_else(shop: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    small_folder(shop / "photos", 2)
    assert run(["measure", "wing.toml", "photos", "--json"]) == 0
    captured = capfdbinary.readouterr()
    assert captured.out.endswith((shop / "wing-readings/readings.json").read_bytes())
    assert len(json.loads(captured.out[captured.out.index(b'{"format"') :])["readings"]) == 2
    assert captured.err == b""


def test_the_gauge_stands_beside_the_camera(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (shop / "wing.toml").read_text("utf-8").replace("# readings =", "readings =")
    (shop / "wing.toml").write_text(text, "utf-8")
    small_folder(shop / "photos", 6)
    assert run(["measure", "wing.toml", "photos"]) == 0
    captured = capsys.readouterr()
    assert "gauge.csv" in captured.err, "a file that is not there is told of, the camera's angles stand"
    (shop / "gauge.csv").write_text(
        "station,line,reading_deg\n" + "".join(f"{s}{n},chord,7.{n}\n" for s in "RL" for n in range(1, 7)), "utf-8"
    )
    assert run(["measure", "wing.toml", "photos"]) == 0
    assert re.search(r" 7\.[1-6]0° ", capsys.readouterr().out)


@pytest.mark.parametrize(
    ("raised", "code", "words"),
    [
        (UserError("a thing", "breaks\na rule", "mend\x1b[31m"), 2, "a thing: breaks a rule; mend\\x1b[31m"),
        (KeyboardInterrupt(), 130, "stopped"),
        (click.Abort(), 130, "stopped"),
        (ImportError("libGL.so.1: cannot open shared object file: No such file or directory"), 2, "libGL.so.1"),
        (OSError(28, "No space left on device", "x.csv"), 2, "x.csv: No space left on device"),
        (BrokenPipeError(), 0, ""),
    ],
)
def test_every_failure_is_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], raised: BaseException, code: int, words: str
) -> None:
    def fail(**_: object) -> None:
        raise raised

    monkeypatch.setattr(cli.group, "main", fail)
    monkeypatch.setattr(cli, "_silence_stdout", lambda: None)
    assert run([]) == code
    error = capsys.readouterr().err
    assert words in error
    assert len(error.splitlines()) == (1 if words else 0)


def test_a_fault_of_ours_is_one_line_too(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def fail(**_: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(cli.group, "main", fail)
    with pytest.raises(SystemExit) as stop:
        cli.main([])
    assert stop.value.code == 70
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_missing_library() -> None:
    assert missing_library(ImportError("libX.so.1: cannot open shared object file: none")) == "libX.so.1"
    assert missing_library(ImportError("No module named 'x'")) is None


def test_every_command_is_there_and_has_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--help"]) == 0
    listing = capsys.readouterr().out
    for name in COMMANDS:
        assert name in listing
        assert run([name, "--help"]) == 0
        assert f"ribangle {name}" in capsys.readouterr().out
    assert run(["--version"]) == 0
    assert capsys.readouterr().out.startswith("ribangle ")


@pytest.mark.parametrize("arguments", [["--help"], ["measure", "broken.toml", "photos"], ["new", "x.toml"]])
def test_help_and_errors_load_nothing_heavy(tmp_path: Path, arguments: list[str]) -> None:
    (tmp_path / "broken.toml").write_text("[wing]\nnam = 'x'\n")
    code = (
        "import sys; from rigging.cli.main import run; run(sys.argv[1:]);"
        "heavy = {'cv2', 'numpy', 'scipy', 'matplotlib', 'PIL', 'rich', 'distributed', 'skimage'};"
        "print('LOADED', sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        cwd=tmp_path,
        text=True,
        check=True,
        capture_output=True,
        env={**os.environ, "PYTHONPATH": str(HOME)},
    )
    assert "LOADED []" in done.stdout
    if "broken.toml" in arguments:
        assert done.stderr == "ribangle: broken.toml: [wing]: nam: unknown key; did you mean name?\n"
