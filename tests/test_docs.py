"""The documents: every command in them is run in an empty folder; what is generated is current; links lead
somewhere.

A block that begins with three backticks and `console` holds commands after `$ `. A comment `# exit code N`
after a
command says how it ends, else 0 is expected. Installers are not run, only known. The sample is thinned for
speed;
RIBANGLE_ALL_PHOTOS=1 runs the documents on all of it.
"""

from __future__ import annotations

import importlib.util
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest

import samples
from rigging.cli.calibrate import COMMANDS as CALIBRATIONS
from rigging.cli.main import COMMANDS, group, run

ROOT = Path(__file__).parent.parent
PAGES = [p for p in [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))] if p.exists()]
INSTALLERS = (
    "pip ",
    "pip3 ",
    "pipx ",
    "uv ",
    "python -m pip ",
    "python3 -m pip ",
    "python -m venv ",
    "python3 -m venv ",
    "git clone ",
    "source ",
    "sudo apt ",
    "sudo dnf ",
)
KEPT_PHOTOS = ("R3-two", "R5", "L5-two")
KEPT_BOARDS = 7


def commands(page: Path) -> list[tuple[str, int]]:
    """Command lines of a page in order, with the exit code that is stated."""
    found = []
    for block in re.findall(r"^```console\n(.*?)^```", page.read_text("utf-8"), flags=re.S | re.M):
        text = re.sub(r"\\\n\s*>?\s*", "", block)
        for line in text.splitlines():
            if line.startswith("$ "):
                code = re.search(r"#\s*exit code (\d+)", line)
                found.append((line[2:].split(" #")[0].strip(), int(code[1]) if code else 0))
    return found


@pytest.fixture
def thin_sample(tmp_path, monkeypatch):
    """The sample with a few of its photos and boards."""
    if os.environ.get("RIBANGLE_ALL_PHOTOS"):
        return
    thin = tmp_path / "sample" / "trainer"
    shutil.copytree(samples.TRAINER, thin)
    for photo in (thin / "photos").iterdir():
        if photo.stem not in KEPT_PHOTOS:
            photo.unlink()
    for board in sorted((thin / "boards").iterdir())[KEPT_BOARDS:]:
        board.unlink()
    monkeypatch.setattr(samples, "TRAINER", thin)


@pytest.mark.parametrize("page", [p for p in PAGES if commands(p)], ids=lambda p: p.name)
@pytest.mark.usefixtures("thin_sample")
def test_every_command_of_the_page_runs_in_an_empty_folder(page, tmp_path, monkeypatch, capfd):
    place = tmp_path / "empty"
    place.mkdir()
    monkeypatch.chdir(place)
    for line, expected in commands(page):
        words = shlex.split(line)
        if words[0] == "cd":
            monkeypatch.chdir(Path(words[1]).resolve())
        elif line.startswith(INSTALLERS):
            continue
        elif words[0] == "ribangle":
            code = run(words[1:])
            shown = capfd.readouterr()
            thinned = words[1] == "check" and not os.environ.get("RIBANGLE_ALL_PHOTOS")  # lacks stations
            assert code in ({expected, 1} if thinned else {expected}), f"{line}\n{shown.out}{shown.err}"
        elif words[0] in ("python", "python3"):
            done = subprocess.run(
                [sys.executable, *words[1:]],
                capture_output=True,
                text=True,
                check=False,
                env=os.environ | {"PYTHONPATH": str(ROOT)},
            )
            assert done.returncode == expected, f"{page.name}: {line}\n{done.stderr}"
        else:
            pytest.fail(f"{page.name}: no one knows how to run {line!r}")


def test_the_worked_example_leaves_what_it_promises(tmp_path, monkeypatch):
    names = [line for line, _ in commands(ROOT / "docs" / "worked-example.md")]
    wanted = ("cards", "calibrate print", "plan", "calibrate lens", "check", "survey", "budget", "report")
    for word in wanted:
        assert any(f"ribangle {word}" in line for line in names), word
    monkeypatch.chdir(tmp_path)
    assert run(["demo", "--files", "trainer"]) == 0
    found = sorted(p.name for p in (tmp_path / "trainer").iterdir())
    assert found == ["boards", "gauge.csv", "photos", "trainer.toml"]
    assert run(["demo", "--files", "trainer"]) == 2  # nothing is overwritten


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_and_pictures_lead_to_files(page):
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text("utf-8")):
        if not re.match(r"[a-z]+:|#", target):
            assert (page.parent / target.split("#")[0]).exists(), f"{page.name}: {target}"


def script(name: str):
    spec = importlib.util.spec_from_file_location(name, ROOT / "docs" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_api_page_is_current():
    made = script("make_api").page()
    assert (ROOT / "docs" / "api.md").read_text("utf-8") == made, "run python docs/make_api.py"


def test_the_photographing_page_and_its_pictures_are_current():
    make = script("make_guide")
    assert (ROOT / "docs" / "photographing.md").read_text("utf-8") == make.photographing(), (
        "run python docs/make_guide.py"
    )
    for name, text in make.pictures().items():
        assert (ROOT / "docs" / "pictures" / name).read_text("utf-8") == text, name


def every_command() -> list[str]:
    return [*(n for n in COMMANDS if n != "calibrate"), *(f"calibrate {n}" for n in CALIBRATIONS)]


@pytest.mark.parametrize("name", every_command())
def test_help_has_an_example_and_the_example_is_understood(name):
    command = group
    context = click.Context(group, info_name="ribangle")
    for word in name.split():
        command = command.get_command(context, word)
    example = re.search(r"Examples?:\s*ribangle (.+)", " ".join((command.epilog or "").split()))
    assert example, f"ribangle {name} --help shows no example"
    words = shlex.split(example[1].split(";")[0])
    assert words[: len(name.split())] == name.split()
    command.make_context(name, words[len(name.split()) :])  # raises UsageError for what it does not know


@pytest.mark.parametrize("name", every_command())
def test_help_opens_without_the_heavy_libraries(name):
    run_it = (
        f"import sys; from rigging.cli.main import run; run({[*name.split(), '--help']!r}); "
        "sys.exit('cv2' in sys.modules or 'scipy' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", run_it], capture_output=True, check=False, env=os.environ | {"PYTHONPATH": str(ROOT)}
    )
    assert done.returncode == 0, done.stderr
