"""What stands ahead of dimensions: the printed list of what to mark, the block that a new job offers."""

from __future__ import annotations

from pathlib import Path

import pypdfium2
import pytest

from rigging.cli.main import run
from rigging.printed.dimensions_page import MARKED, dimension_words
from rigging.printed.pack import print_pack
from shared.dimensions import FIXED, POINTED
from shared.job.file import load_job, parse_job
from shared.job.model import Job

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer" / "trainer.toml"
JOINT = """
[[dimension]]
name = "step"
kind = "step"
at = "lower joint"
between = ["edge fixed", "edge free"]
design_mm = 0
tolerance_mm = 0.8
[[dimension]]
name = "chord"
kind = "chord length"
at = "R1"
[[place]]
name = "lower joint"
side = "right"
span_mm = 1000
cards = [30]
"""


@pytest.fixture(scope="module")
def job() -> Job:
    return parse_job(SAMPLE.read_text("utf-8") + JOINT, SAMPLE)


def test_every_feature_says_what_to_mark() -> None:
    assert set(MARKED) == {*FIXED, *POINTED, "card"}


def test_a_dimension_in_words(job: Job) -> None:
    step, chord = (dimension_words(d, job) for d in job.dimensions)
    assert "edge fixed" in step and "point at it" in step and "card on the fixed part" in step
    assert "to be 0 mm ± 0.8 mm" in step
    assert "quartered mark" in chord and "to be" not in chord


def test_the_printed_pack_lists_them(job: Job) -> None:
    heading = "Lengths and angles in the plane of a card"
    with_them, plain = (words_of(print_pack(j)) for j in (job, load_job(SAMPLE)))
    assert heading in with_them and "lower joint: step" in with_them
    assert heading not in plain


def words_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    return " ".join(" ".join(p.get_textpage().get_text_bounded() for p in document).split())


def test_the_block_that_a_new_job_offers_is_right(tmp_path: Path) -> None:
    """Without its comment signs it loads."""
    path = tmp_path / "wing.toml"
    assert run(["new", str(path)]) == 0
    text = path.read_text("utf-8")
    block = text.split("# [[dimension]]")[1].split("\n\n")[0]
    lines = ["[[dimension]]", *(line.removeprefix("# ") for line in block.splitlines()[1:])]
    job = parse_job(text + "\n" + "\n".join(lines) + "\n", path)
    (d,) = job.dimensions
    assert (d.place, d.design, d.tolerance) == ("R1", 1200.0, 1.5)
