"""Files that would cost all memory, or a zero where none may stand: one line each."""

from __future__ import annotations

from pathlib import Path

import pytest

from calibration.lens.exchange import MAX_BYTES, read_foreign
from shared.errors import UserError
from shared.job.file import parse_job

ROS = """
image_width: {width}
image_height: 480
camera_matrix: {{rows: 3, cols: 3, data: [{f}, 0, 320, 0, {f}, 240, 0, 0, 1]}}
distortion_coefficients: {{rows: 1, cols: 5, data: [{k}, 0, 0, 0, 0]}}
"""
OPENCV = """%YAML:1.0
image_width: {width}
image_height: 480
camera_matrix: !!opencv-matrix {{rows: 3, cols: 3, dt: d, data: [{f}, 0, 320, 0, {f}, 240, 0, 0, 1]}}
distortion_coefficients: !!opencv-matrix {{rows: 5, cols: 1, dt: d, data: [{k}, 0, 0, 0, 0]}}
"""
GOOD = {"width": "640", "f": "500.0", "k": "-0.2"}
LAUGHS = "a0: &a0 [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]\n" for n in range(1, 30)
)


@pytest.mark.parametrize("form", [ROS, OPENCV])
@pytest.mark.parametrize(
    "odd",
    [
        {"f": "0"},
        {"f": "-500.0"},
        {"f": ".inf"},
        {"f": ".nan"},
        {"k": ".inf"},
        {"k": "1e300"},
        {"f": "9" * 400},
        {"f": "9" * 6000},
        {"width": "0"},
        {"width": "-640"},
        {"width": "9" * 40},
        {"width": "9" * 6000},
    ],
    ids=str,
)
def test_numbers_that_no_lens_has_are_one_line(tmp_path: Path, form: str, odd: dict[str, str]):
    path = tmp_path / "lens.yml"
    path.write_text(form.format(**GOOD))
    assert read_foreign(path).theta[0] == 500
    path.write_text(form.format(**{**GOOD, **odd}))
    with pytest.raises(UserError) as told:
        read_foreign(path)
    assert "\n" not in str(told.value) and len(str(told.value)) < 400


@pytest.mark.parametrize("form", [ROS, OPENCV])
def test_nested_aliases_and_files_without_end_are_refused(tmp_path: Path, form: str):
    path = tmp_path / "lens.yml"
    for text in (form.format(**GOOD) + LAUGHS, form.format(**GOOD) + "#" * MAX_BYTES, "[" * 100_000):
        path.write_text(text)
        with pytest.raises(UserError):
            read_foreign(path)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (".".join("a" * 5000) + " = 1", "deep in each other"),
        ("a = " + "[" * 400 + "]" * 400, "deep in each other|not a job file"),
        ("a = " + "9" * 5000, "not a job file"),
        ('[wing]\nname = "a\\u001b[2Jb"', "cannot be seen"),
        ('[wing]\nname = "a\\u202eb"', "cannot be seen"),
        ('[wing]\nname = "=1+1"', "spreadsheet"),
    ],
)
def test_a_job_that_would_cost_all_memory_or_mislead_a_terminal_or_a_spreadsheet_is_one_line(text: str, words: str):
    with pytest.raises(UserError, match=words) as told:
        parse_job(text)
    assert "\n" not in str(told.value) and len(str(told.value)) < 400
