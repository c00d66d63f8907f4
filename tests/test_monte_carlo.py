"""Monte Carlo against the linear budget (JCGM 101:2008, 8.1 in spirit), and hints given with photos."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from rigging.batch.hints_file import hints_of, parse_given
from samples import TRAINER
from shared.errors import UserError
from shared.job.file import load_job
from shared.lines import Role
from shared.quantity import Component, Quantity
from vision.lines.hints import Hint
from vision.reader import read_photo
from vision.solution.monte_carlo import Draws, compare


def test_draws_agree_with_the_budget_of_a_sound_photo() -> None:
    job = load_job(TRAINER / "trainer.toml")
    reading = read_photo(TRAINER / "photos" / "R3.jpg", job, monte_carlo=200)
    assert reading.chord.quantity is not None
    ((name, said),) = reading.made.settings
    assert name == "monte carlo"
    u = float(said.split(", u ")[1].split(",")[0])
    # 200 draws leave the standard deviation open by 5 % (one sigma)
    assert u == pytest.approx(reading.chord.quantity.u, rel=0.2)
    assert not any(f.code == "not-linear" for f in reading.flags)


def test_disagreement_is_flagged_and_agreement_is_not() -> None:
    rng = np.random.default_rng(5)
    x = rng.normal(1.0, 0.1, (2000, 1))
    right = Quantity(1.0, (Component("a", "a", 0.1),))
    small = Quantity(1.0, (Component("a", "a", 0.05),))
    off = Quantity(1.1, (Component("a", "a", 0.1),))
    assert compare(Draws(x), right)[1] == ()
    assert compare(Draws(x), small)[1][0].code == "not-linear"
    assert compare(Draws(x), off)[1][0].code == "not-linear"


def test_shortest_interval_of_a_skewed_distribution() -> None:
    x = np.random.default_rng(6).exponential(1.0, (100_000, 1))
    low, high = Draws(x).interval()
    # the shortest 95 % interval of an exponential begins at 0 and ends at -ln 0.05 = 2.996
    assert low == pytest.approx(0.0, abs=0.01)
    assert high == pytest.approx(2.996, abs=0.05)


def test_hints_from_the_command_line_and_beside_the_photo(tmp_path: Path) -> None:
    given = parse_given(["my photo.jpg chord 10,20 300,25", "my photo.jpg plumb 5,5 6,500"])
    assert given == (("my photo.jpg", "chord 10,20 300,25"), ("my photo.jpg", "plumb 5,5 6,500"))
    photo = tmp_path / "my photo.jpg"
    (tmp_path / "my photo.jpg.hints").write_text("# from the bench\nspar 1,1 1,300\nchord 0,0 99,0\n", "utf-8")
    assert hints_of(photo, photo.name, given) == ("chord 10,20 300,25", "plumb 5,5 6,500", "spar 1,1 1,300")


@pytest.mark.parametrize("text", ["R1.jpg 1,2 3,4", "R1.jpg chord 1,2", "R1.jpg chord 1,2 3,x", "R1.jpg chord 1,2 3,4"])
def test_bad_hints_are_refused_in_one_line(text: str) -> None:
    with pytest.raises(UserError) as error:
        parse_given([text])
    assert "\n" not in str(error.value)


def test_a_hinted_reading_is_recorded_as_helped() -> None:
    job = load_job(TRAINER / "trainer.toml")
    photo = TRAINER / "photos" / "R3.jpg"
    plain = read_photo(photo, job)
    assert plain.chord.quantity is not None
    path = next(line.path for line in plain.evidence.lines if line.role == "chord")  # type: ignore[union-attr]
    hint = Hint(Role.CHORD, (path[0][0] + 2, path[0][1] - 1.5), (path[-1][0] - 3, path[-1][1] + 1.5))
    helped = read_photo(photo, job, hints=[hint])
    assert helped.made.helped
    assert any(f.code == "helped" for f in helped.flags)
    assert helped.chord.quantity is not None
    assert helped.chord.quantity.value == pytest.approx(plain.chord.quantity.value, abs=plain.chord.quantity.u)
