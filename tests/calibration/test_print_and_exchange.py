"""Print scale and squareness; lens profiles of other tools."""

from __future__ import annotations

import datetime
import math
import re
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import yaml

from calibration.lens.exchange import opencv_yaml, profile_of, read_foreign, ros_yaml
from calibration.lens.profiles import check_lens, load_lens, save_lens
from calibration.print.scale import angle_error_deg, print_scale
from rigging.cli.main import run
from shared.errors import UserError

ROOT = Path(__file__).parents[2]
SHIPPED = ROOT / "samples" / "trainer" / "lens" / "fieldcam-f1.json"


def test_scale_of_two_bars():
    result = print_scale([99.7, 99.7], [99.9], tool="caliper")
    assert result.scale == pytest.approx(0.998, abs=1e-9)
    assert result.stretch == pytest.approx(99.9 / 99.7 - 1, abs=1e-9)
    assert result.u_scale == pytest.approx(0.03e-2 / math.sqrt(2), rel=1e-6)
    assert result.u_stretch == pytest.approx(0.03e-2 * math.sqrt(2), rel=1e-2)
    assert "scale = 0.99800" in result.toml and "stretch = 0.00201" in result.toml


def test_an_even_scale_turns_no_angle_and_is_told_so():
    text = " ".join(print_scale([101.0], [101.0]).text)
    assert "1.00 % out" in text and "turns no angle" in text


def test_a_stretched_card_turns_a_line():
    """A line at 45 deg on a card stretched by 1 %: atan 1.01 - 45 deg, by geometry."""
    assert angle_error_deg(0.01, 45) == pytest.approx(math.degrees(math.atan(1.01)) - 45, abs=2e-3)
    assert angle_error_deg(0.01, 5) == pytest.approx(
        math.degrees(math.atan(1.01 * math.tan(math.radians(5)))) - 5, abs=1e-3
    )


def test_skew_from_diagonals():
    """A parallelogram drawn by its corners: sides 150 and 200, 0.5 deg off square."""
    g = math.radians(0.5)
    a, b = np.array([150.0, 0]), 200 * np.array([math.sin(g), math.cos(g)])
    result = print_scale(
        [100.0],
        [100.0],
        [float(np.linalg.norm(a + b)), float(np.linalg.norm(b - a))],
        nominal_sides_mm=(150, 200),
        tool="caliper",
    )
    assert result.skew_deg == pytest.approx(0.5, abs=1e-6)
    assert 0 < result.u_skew_deg < 0.05
    assert "no printer in order does that" in " ".join(result.text)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: print_scale([]), "at least one"),
        (lambda: print_scale([9.97]), "not off by over 10 %"),
        (lambda: print_scale([-1.0]), "positive"),
        (lambda: print_scale([100], [], [1, 2]), "sides"),
        (lambda: print_scale([100], [], [100, 300], nominal_sides_mm=(150, 200)), "do not belong"),
    ],
)
def test_wrong_use_is_refused(call, says):
    with pytest.raises(UserError, match=says) as error:
        call()
    assert "\n" not in str(error.value)


@pytest.mark.parametrize("write", [opencv_yaml, ros_yaml])
def test_profile_goes_out_and_comes_back_whole(tmp_path, write):
    profile = load_lens(SHIPPED)
    (tmp_path / "a.yaml").write_text(write(profile))
    back = read_foreign(tmp_path / "a.yaml")
    np.testing.assert_allclose(back.theta, profile.theta, rtol=1e-14)
    np.testing.assert_allclose(back.covariance, profile.covariance, rtol=1e-12)
    assert back.size == profile.size
    assert back.made.isoformat() == profile.date


def test_an_import_keeps_the_day_of_the_calibration(tmp_path, capsys):
    """What OpenCV's calibration sample writes as calibration_time; without it the day is asked for."""
    text = re.sub("ribangle_date.*\n", "", opencv_yaml(load_lens(SHIPPED)))
    (tmp_path / "b.yml").write_text(text)
    out = ["--out", str(tmp_path / "b.json")]
    assert run(["calibrate", "import", str(tmp_path / "b.yml"), *out]) == 2
    assert "--date" in capsys.readouterr().err
    assert run(["calibrate", "import", str(tmp_path / "b.yml"), "--date", "2019-02-03", *out]) == 0
    assert load_lens(tmp_path / "b.json").date == "2019-02-03"
    (tmp_path / "b.yml").write_text(text.replace("---\n", '---\ncalibration_time: "Tue Mar  5 16:01:02 2024"\n', 1))
    assert read_foreign(tmp_path / "b.yml").made == datetime.date(2024, 3, 5)


def test_opencv_reads_what_is_exported(tmp_path):
    profile = load_lens(SHIPPED)
    (tmp_path / "a.yml").write_text(opencv_yaml(profile))
    store = cv2.FileStorage(str(tmp_path / "a.yml"), cv2.FILE_STORAGE_READ)
    assert store.getNode("camera_matrix").mat()[0, 0] == profile.theta[0]
    np.testing.assert_array_equal(store.getNode("distortion_coefficients").mat().ravel(), profile.theta[4:])
    store.release()


def test_ros_file_has_the_standard_keys():
    """sensor_msgs/CameraInfo as camera_calibration_parsers writes it."""
    data = yaml.safe_load(ros_yaml(load_lens(SHIPPED)))
    assert data["distortion_model"] == "plumb_bob" and len(data["distortion_coefficients"]["data"]) == 5
    assert data["projection_matrix"]["rows"] == 3 and data["projection_matrix"]["cols"] == 4


def test_covariance_is_worked_out_from_published_poses():
    published = read_foreign(ROOT / "tests" / "data" / "opencv-doc" / "left_intrinsics.yml")
    assert published.theta[0] == pytest.approx(535.9157, abs=1e-4)
    assert 0.5 < math.sqrt(published.covariance[0, 0]) < 2
    profile = profile_of(published, None, datetime.date(2026, 5, 16), "left_intrinsics.yml")
    check_lens("imported", profile)
    assert any("worked out from the poses" in n for n in profile.notes)


def test_without_uncertainty_a_cautious_one_is_assumed(tmp_path):
    profile = load_lens(SHIPPED)
    data = yaml.safe_load(ros_yaml(profile))
    del data["ribangle_covariance"]
    (tmp_path / "a.yaml").write_text(yaml.safe_dump(data))
    back = profile_of(read_foreign(tmp_path / "a.yaml"), None, datetime.date(2026, 5, 16), "a.yaml")
    save_lens(tmp_path / "b.json", back)
    again = load_lens(tmp_path / "b.json")
    assert any("no uncertainty" in n for n in again.notes)
    assert np.all(np.diag(again.covariance) > np.diag(profile.covariance))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"distortion_model": "equidistant"}, "equidistant"),
        ({"camera_matrix": None}, "no camera_info|no camera_matrix"),
        ({"distortion_coefficients": {"data": [0, 0, 0, 0, 0, 0.1, 0, 0]}}, "8 distortion coefficients"),
    ],
)
def test_other_models_are_refused(tmp_path, change, says):
    data = yaml.safe_load(ros_yaml(load_lens(SHIPPED))) | change
    (tmp_path / "a.yaml").write_text(yaml.safe_dump(data))
    with pytest.raises(UserError, match=says):
        read_foreign(tmp_path / "a.yaml")


def test_unknown_residual_survives_the_disk(tmp_path):
    profile = replace(load_lens(SHIPPED), rms_px=None)
    save_lens(tmp_path / "a.json", profile)
    assert load_lens(tmp_path / "a.json").rms_px is None
