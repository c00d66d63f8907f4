"""No job that the schema lets through stops a command: legal, silly and extreme values."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from job_values import jobs
from mistake_shop import Shop, shop
from told_reader import Told

__all__ = ["shop"]

ANGLES = st.sampled_from([-180.0, -0.25, 0.0, 2.0, 90.0]) | st.floats(-5, 5)


@given(jobs(), st.lists(st.tuples(ANGLES, ANGLES, st.floats(1e-4, 2), st.booleans()), min_size=1, max_size=4))
@settings(
    max_examples=20,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_no_job_stops_a_command(shop: Shop, job: dict[str, Any], seen: list[tuple[float, float, float, bool]]):
    shop.job = job
    clear(shop.folder)
    for k, (chord, spar, u, level) in enumerate(seen):
        told = Told((k % 3,), chord, 90 + spar, u=u, reference="level" if level else "plumb", drawn_mm=800.0)
        shop.photo(f"{k}.png", told)
    shop.gauge("R1,chord,2.0", "R1,spar,90", "R 2,chord,-88")
    for command in (
        ("plan", "wing.toml"),
        ("cards", "wing.toml", "--spares", "0"),
        ("survey", "wing.toml", "photos", "--no-report"),
        ("show", "wing.toml"),
        ("gauge", "check", "wing.toml"),
        ("compare", "wing.toml", "1", "--mirrored"),
        ("verify", "wing.toml"),
        ("report", "wing.toml"),
    ):
        code, said = shop.run(*command)
        assert code in (0, 1, 2, 3) and said, command
        assert "nan" not in said.casefold().split() and "inf" not in said.casefold().split(), (command, said)
        if command[0] in ("survey", "show", "report"):
            assert code != 2, (command, said)


def clear(folder: Path) -> None:
    for place in folder.iterdir():
        if place.is_dir():
            shutil.rmtree(place)
        elif place.suffix == ".toml":
            place.unlink()
    (folder / "photos").mkdir()


@pytest.mark.parametrize("text", ["", "[wing]", "\x00", "station = 3", "[[station]]\nname = 1", "[wing]\nname = 'x'"])
def test_no_text_stops_a_command(shop: Shop, text: str):
    place = shop.folder / "odd.toml"
    place.write_text(text)
    assert tomli_w.dumps(shop.job)
    for command in (["plan", "odd.toml"], ["survey", "odd.toml", "photos"], ["show", "odd.toml"], ["log", "odd.toml"]):
        code, said = shop.run(*command)
        assert code == 2 and said.startswith("ribangle: odd"), (command, said)
