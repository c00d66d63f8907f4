"""Every row of the inclinometer's file that is not used stands, with its reason, on every screen that uses the file."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from test_page import HOSTS, desk_of, settled

from rigging.cli.main import run
from rigging.page.app import make_app
from rigging.page.gate import Gate
from rigging.page.watch import news

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
ROWS = "station,line,reading_deg\nR5,chord,0.9\nR9,chord,1.0\nR2,chord,0.3?\nR3,chord,2-May\nR4,keel,1.0\nR6,chord,\n"
UNUSED = (
    'row 3: station "R9" is not in the job',
    'row 4: R2: "0.3?" is not an angle',
    'row 5: R3: "2-May" is not an angle but a date',
    'row 6: line "keel" is neither chord nor spar',
    "row 7: R6: no reading",
)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("shop")
    shutil.copy(SAMPLE / "trainer.toml", home)
    shutil.copytree(SAMPLE / "lens", home / "lens")
    (home / "gauge.csv").write_text(ROWS, "utf-8")
    (home / "photos").mkdir()
    shutil.copy(SAMPLE / "photos" / "R5.jpg", home / "photos")
    assert run(["survey", str(home / "trainer.toml"), str(home / "photos"), "--jobs", "1"]) == 0
    return home


def plain(text: str) -> str:
    """The text without markup, quotation marks and line ends of its layout."""
    bare = re.sub(r"<[^>]*>", "", text).replace("&#34;", '"').replace("&quot;", '"').replace("&#39;", "'")
    return re.sub(r"[\s\u2502|]+", " ", bare)


def all_told(text: str) -> None:
    for row in UNUSED:
        assert row in plain(text), row


@pytest.mark.parametrize(
    "words",
    [
        ("survey", "trainer.toml", "photos", "--jobs", "1"),
        ("measure", "trainer.toml", "photos", "--jobs", "1", "--out", "measured"),
        ("check", "trainer.toml", "photos", "--jobs", "1"),
        ("gauge", "check", "trainer.toml"),
    ],
)
def test_commands(
    shop: Path, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.chdir(shop)
    monkeypatch.setenv("COLUMNS", "200")
    run(list(words))
    all_told("".join(capsys.readouterr()))


def test_report(shop: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(shop)
    assert run(["report", "trainer.toml", "--out", "r"]) == 0
    all_told((shop / "r" / "report.html").read_text("utf-8"))


def test_page_and_watched_folder(tmp_path: Path):
    shutil.copy(SAMPLE / "trainer.toml", tmp_path)
    (tmp_path / "gauge.csv").write_text(ROWS.replace("R5,chord,0.9\n", "#\n"), "utf-8")  # nothing of it can be used
    desk = desk_of(tmp_path)
    try:
        with TestClient(make_app(desk, Gate(False), HOSTS)) as client:
            all_told(" ".join(client.get("/api/state").json()["gauge_unused"]))
            ident = client.post("/api/photos", content=(SAMPLE / "photos" / "R5.jpg").read_bytes()).json()["id"]
            settled(client)
            done: set[str] = set()
            all_told(" ".join(news(desk, done)))
            assert ident in done and news(desk, done) == []
    finally:
        desk.close()
