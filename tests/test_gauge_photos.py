"""A display seen in a rib photo: both witnesses from one picture; nothing typed in is overwritten; the page asks first."""

import shutil
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from test_gauge_command import photo
from test_page import client, desk, home  # noqa: F401 - fixtures

from benchmarks.display_gauge import written
from rigging.cli.main import run
from rigging.crosscheck.gauge_photos import DisplaySeen, line_of, write_down
from samples.practice import main as practice
from shared.gauge.csv_file import load_gauge_readings
from shared.job.file import load_job
from vision.display.read import read_display
from vision.display.tag import TAG_MM, TAGS, find_tags, save_display, teach

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"


def taught_here(folder: Path) -> None:
    image, corners = photo("8.8")
    save_display(folder / "gauge-display.json", teach(image, corners, decimals=1))


def with_gauge(text: str) -> np.ndarray:
    """A sample's rib photo with a gauge and its tag in a corner of it."""
    rib = cv2.imread(str(SAMPLE / "photos" / "L1.jpg"))
    seen = cv2.resize(photo(text)[0], None, fx=0.8, fy=0.8, interpolation=cv2.INTER_AREA)
    rib[2550 : 2550 + seen.shape[0], 60 : 60 + seen.shape[1]] = seen[:, :, None]
    return rib


def test_one_photo_gives_both_witnesses(tmp_path, capsys):
    shutil.copy(SAMPLE / "trainer.toml", tmp_path)
    shutil.copytree(SAMPLE / "lens", tmp_path / "lens")
    (tmp_path / "gauge.csv").write_text("station,line,reading_deg\nR1,chord,2.2\n")
    taught_here(tmp_path)
    (tmp_path / "photos").mkdir()
    cv2.imwrite(str(tmp_path / "photos" / "L1.jpg"), with_gauge("2.4"))
    command = ["measure", str(tmp_path / "trainer.toml"), str(tmp_path / "photos"), "--no-overlays", "--jobs", "1"]
    assert run(command) == 0
    assert "L1 chord: the display shows 2.4: written to gauge.csv" in capsys.readouterr().out
    read = load_gauge_readings(tmp_path / "gauge.csv", ["R1", "L1"]).readings
    assert [(r.station, r.line, r.shown_deg) for r in read] == [("R1", "chord", 2.2), ("L1", "chord", 2.4)]
    # once more: nothing is added; and what stands in the file is kept where the display says otherwise
    assert run(command) == 0
    assert "as written down" in capsys.readouterr().out
    text = (tmp_path / "gauge.csv").read_text().replace("L1,chord,2.4", "L1,chord,1.9")
    (tmp_path / "gauge.csv").write_text(text)
    assert run(command) == 0
    assert "but 1.9 is written in gauge.csv" in capsys.readouterr().out
    assert (tmp_path / "gauge.csv").read_text() == text


def test_what_is_not_sure_is_told_and_not_written(tmp_path):
    shutil.copy(SAMPLE / "trainer.toml", tmp_path)
    job = load_job(tmp_path / "trainer.toml")
    seen = [DisplaySeen("a.jpg", "R1", None, None, None, "digit 2 is doubtful"),
            DisplaySeen("b.jpg", None, "chord", "2.0", 2.0, None),
            DisplaySeen("c.jpg", "R2", "spar", "90.2", 90.2, None, "2025-04-03T10:00:00"),
            DisplaySeen("d.jpg", "R2", "spar", "90.4", 90.4, None)]  # fmt: skip
    said = write_down(job, seen)
    assert ["digit 2 is doubtful" in said[0], "no station" in said[1], "written to" in said[2]] == [True] * 3
    assert "but 90.2 is written" in said[3]
    lines = (tmp_path / "gauge.csv").read_text().splitlines()
    assert lines == ["station,line,reading_deg,time", "R2,spar,90.2,2025-04-03T10:00:00"]


@pytest.mark.parametrize(
    ("shown", "line"), [(0.4, "chord"), (-3.0, "chord"), (90.4, "spar"), (-89.0, "spar"), (178.2, "chord")]
)
def test_line_of_a_shown_angle(shown, line):
    assert line_of(shown) == line


def test_the_page_reads_a_display_and_notes_nothing_by_itself(client, desk):  # noqa: F811 - fixtures
    taught_here(desk.job.folder)
    assert client.get("/api/state").json()["display_taught"]
    data = cv2.imencode(".png", photo("3.6")[0])[1].tobytes()
    told = client.post("/api/display", content=data).json()
    assert (told["text"], told["line"], told["by_tag"]) == ("3.6", "chord", True)
    assert told["likely"][0]["text"] == "3.6" and told["crop"].startswith("data:image/png;base64,")
    assert desk.bench.notes().typed == ()
    assert len(list((desk.bench.folder / "displays").iterdir())) == 1
    ident = client.post("/api/photos", content=data).json()["id"]
    assert client.post(f"/api/photos/{ident}/display").json()["text"] == "3.6"
    blank = cv2.imencode(".png", np.full((200, 300), 128, np.uint8))[1].tobytes()
    told = client.post("/api/display", content=blank).json()
    assert told["text"] is None
    assert told["why"]
    assert (told["likely"], told["crop"]) == ([], None)
    assert client.post("/api/display", content=b"no photo").status_code == 422
    assert client.post("/api/photos/0000000000000000/display").status_code == 422


def test_the_printed_sheet_of_tags_is_what_the_reader_finds(tmp_path):
    assert run(["cards", str(SAMPLE / "trainer.toml"), "--spares", "0", "--out", str(tmp_path / "c.pdf")]) == 0
    book = pypdfium2.PdfDocument(tmp_path / "c.pdf")
    sheet = np.asarray(book[len(book) - 2].render(scale=6 * 25.4 / 72).to_pil().convert("L"))  # 6 pixels a millimetre
    # as photographed: askew, soft, half as large
    turn = cv2.getRotationMatrix2D((sheet.shape[1] / 2, sheet.shape[0] / 2), 17, 0.5)
    seen = cv2.warpPerspective(sheet, np.vstack([turn, [4e-5, -3e-5, 1]]), sheet.shape[::-1], borderValue=120)
    tags = find_tags(cv2.GaussianBlur(seen, (0, 0), 0.8))
    assert set(tags) == set(TAGS)
    flat = find_tags(sheet)
    for quad in flat.values():
        sides = np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1) / 6
        assert np.abs(sides - TAG_MM).max() < 0.15


def test_practice_photos_are_read_by_the_tag(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    practice()
    corners = "147,130,612,135,586,332,123,325"
    assert run(["gauge", "teach", "gauge-teach.jpg", "--corners", corners, "--decimals", "1"]) == 0
    assert "18.8 deg" in capsys.readouterr().out
    assert run(["gauge", "read", "gauge-read.jpg"]) == 0
    assert "-1.4 deg" in capsys.readouterr().out


@pytest.mark.parametrize("face", sorted((Path(__file__).parent / "data" / "dseg").glob("*.ttf")), ids=lambda p: p.stem)
@pytest.mark.parametrize("light", [False, True], ids=["lcd", "led"])
def test_figures_of_a_font_that_is_not_ours(face, light):
    for text in ("-12.3", "45.6", "78.9", "0.2", "-3.07"):
        ink = np.pad(written(text, str(face), 80), 60)
        grey = 30 + 190 * ink if light else 180 - 150 * ink
        image = cv2.GaussianBlur(grey + np.random.default_rng(3).normal(0, 3, grey.shape), (0, 0), 1.0)
        assert read_display(np.clip(image, 0, 255).astype(np.uint8), upright=True).text == text
