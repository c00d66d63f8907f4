"""The calibrate commands, as a user types them."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import pytest
from board_scene import chess_ink, photograph, poses
from PIL import Image

from calibration.lens.profiles import load_lens
from calibration.level.reversal import load_level
from calibration.print.profile import load_print
from rigging.cli.main import run

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("boards")
    ink = chess_ink(7, 5, 25.0)
    for k, pose in enumerate(poses(7, 1, (112, 87))):
        image = Image.fromarray(photograph(ink, pose, k, fine=2))
        exif = image.getexif()
        exif[0x010F], exif[0x0110] = "Fieldcam", "F1"
        image.save(place / f"b{k}.jpg", quality=95, exif=exif)
    (place / "broken.jpg").write_bytes(b"not a photo")
    return place


def test_lens_from_photos(folder, tmp_path, capsys):
    out = tmp_path / "made" / "for it" / "f1.json"
    assert run(["calibrate", "lens", str(folder), "--board", "7x5", "--out", str(out)]) == 0
    text = capsys.readouterr().out
    assert "b3.jpg" in text and "broken.jpg" in text and "fx" in text
    profile = load_lens(out)
    assert profile.camera == "Fieldcam F1"
    assert [u.name for u in profile.photos if not u.used] == ["broken.jpg"]
    assert cv2.imread(str(out.with_suffix(".png"))) is not None
    assert run(["calibrate", "export", str(out), str(tmp_path / "f1.yaml"), "--as", "ros"]) == 0
    assert (
        run(
            [
                "calibrate",
                "import",
                str(tmp_path / "f1.yaml"),
                "--photo",
                str(folder / "b0.jpg"),
                "--out",
                str(tmp_path / "again.json"),
            ]
        )
        == 0
    )
    again = load_lens(tmp_path / "again.json")
    assert again.theta == pytest.approx(profile.theta) and again.make == "Fieldcam"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["lens", "PLACE", "--board", "nine"], "no size"),
        (["lens", "PLACE", "--board", "9x6", "--card", "panel"], "one of them"),
        (["lens", "PLACE", "--board", "9x6"], "7 x 5 inner corners"),
        (["lens", "PLACE/gone"], "no such file"),
        (["lens", "PLACE", "--out", "PLACE/b0.jpg/good.json"], "cannot be made"),
        (["lens", "PLACE", "--model", "fisheye"], "not known"),
        (["level", "bar"], "--pair"),
        (["level", "bar", "--pair", "0.1", "0.2"], "how well they repeat"),
        (["level", "bar", "--pair", "0.1", "0", "--repeatability", "0.1", "--date", "May"], "is no day"),
        (["print"], "at least one"),
        (["print", "--across", "9.9"], "10 %"),
        (["print", "--across", "99.9", "--date", "May"], "is no day"),
        (["print", "--across", "99.9", "--diagonals", "9", "9"], "drawn sides"),
        (["lines", "PLACE/b0.jpg"], "straight edges"),
        (["plumb", "--pair", "1", "1", "--u-plumb", "0.001"], "must exceed"),
        (["import", "PLACE/b0.jpg"], "cannot be read"),
        (["export", "PLACE/gone.json", "x.yaml"], "cannot be read"),
    ],
)
def test_wrong_use_is_one_line_and_exit_code_2(folder, capsys, words, says):
    assert run(["calibrate", *[w.replace("PLACE", str(folder)) for w in words]]) == 2
    error = capsys.readouterr().err
    assert says in error and error.strip().count("\n") == 0 and "Traceback" not in error


def test_level_by_reversal(tmp_path, capsys):
    out = tmp_path / "bar.json"
    pairs = [w for a, b in ((0.15, -0.05), (0.14, -0.04), (0.16, -0.05)) for w in ("--pair", str(a), str(b))]
    assert run(["calibrate", "level", "bar", *pairs, "--resolution", "0.01", "--out", str(out)]) == 0
    assert load_level(out).zero_error_deg == pytest.approx(0.09833, abs=1e-5)
    assert "zero error +0.098 deg" in capsys.readouterr().out
    own = [w for a, b in ((0.15, 0.05), (0.14, 0.04), (0.16, 0.05)) for w in ("--pair", str(a), str(b))]
    assert run(["calibrate", "level", "bar", *own, "--own-sign", "--out", str(out)]) == 0
    assert load_level(out).zero_error_deg == pytest.approx(0.09833, abs=1e-5)


def test_plumb_and_print(capsys, tmp_path):
    assert run(["calibrate", "plumb", "--pair", "1.52", "1.49", "--pair", "0.41", "0.39"]) == 0
    assert "agree" in capsys.readouterr().out
    words = "--card panel --across 176.75 --down 125.0 --diagonals 216.6 216.4 --tool caliper --date 2026-05-16"
    assert run(["calibrate", "print", *words.split(), "--out", str(tmp_path / "print.json")]) == 0
    said = capsys.readouterr().out
    assert "down the sheet -0.99 %" in said and "no printer" not in said
    profile = load_print(tmp_path / "print.json")
    assert profile.stretch == pytest.approx(1 / 1.01 - 1, abs=1e-9) and profile.date == "2026-05-16"
    assert profile.skew_deg is not None and profile.skew_deg > 0


def test_help_lists_all(capsys):
    assert run(["calibrate", "--help"]) == 0
    text = capsys.readouterr().out
    for name in ("lens", "lines", "import", "export", "level", "plumb", "print", "drift", "gauge"):
        assert f"  {name} " in text


def test_profile_is_plain_json():
    data = json.loads((ROOT / "samples" / "trainer" / "lens" / "fieldcam-f1.json").read_text())
    assert data["format"] == "ribangle lens profile 1" and len(data["covariance"]) == 9
