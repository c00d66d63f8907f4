"""Screens of 80 columns: nothing cut, no digit lost; and what limits U, said first."""

from __future__ import annotations

import io

import pytest
from mistake_shop import Shop, shop
from rich.console import Console
from told_reader import Told

from rigging.survey.limits import limit_words
from rigging.survey.screen import Fitting, plain_table
from shared.reading import Advice

__all__ = ["shop"]


def shown(what: object, width: int) -> str:
    out = io.StringIO()
    Console(file=out, width=width, highlight=False).print(what)
    return out.getvalue()


@pytest.mark.parametrize("width", [20, 40, 80, 200])
def test_the_first_rendering_that_fits_is_shown_and_no_digit_is_lost(width: int):
    wide, narrow = plain_table("station", "angle", "more"), plain_table("station", "angle")
    for k in range(3):
        wide.add_row(f"R{k}", f"{k}.1234567° ± 0.0123°", "9" * 90)
        narrow.add_row(f"R{k}", f"{k}.1234567° ± 0.0123°")
    text = shown(Fitting(((wide,), (narrow,))), width)
    assert all(len(line) <= width for line in text.splitlines())
    assert ("9" * 90 in text) == (width == 200)
    dense = "".join(text.split())
    assert all(part in dense or width == 20 for k in range(3) for part in (f"{k}.1234567°", "0.0123°"))
    assert "…" not in text


def test_every_screen_of_a_survey_fits_80_columns(shop: Shop):
    shop.photos({"R3": -0.8, "L2": 0.4})
    shop.photo("R2 with a name as long as cameras and messengers give them 20260516_091500.png", Told((2,), 1.5, 90.0))
    shop.gauge(*(f"{s['name']},chord,{s['chord_deg'] + 0.3:.1f}" for s in shop.job["station"]))
    for command in (
        ("measure", "wing.toml", "photos"),
        ("survey", "wing.toml", "photos", "--no-report"),
        ("show", "wing.toml"),
        ("show", "wing.toml", "r3"),
        ("budget", "wing.toml", "R3"),
        ("gauge", "check", "wing.toml"),
        ("compare", "wing.toml", "1", "--mirrored"),
        ("check", "wing.toml", "photos", "--quick"),
    ):
        shop.run(*command)
        rows = [line for line in shop.out.splitlines() if line.startswith(("station", "R", "L", "chord", "spar"))]
        assert "…" not in shop.out, command
        assert all(len(line) <= 80 for line in rows if ":" not in line), command
        assert "nan" not in shop.out.casefold().split(), command


def test_what_limits_u_most_and_what_would_halve_it():
    second = Advice("a second string", 0.20, 0.09)
    first = Advice("a second card", 0.20, 0.15)
    words = limit_words([({"lean": 0.09, "string": 0.03}, [first, second]), ({"lean": 0.05, "pen": 0.01}, [second])])
    assert words is not None
    # shares 0.9 and 0.9615: their mean is 93 %
    assert words.startswith("What limits U most: lean, 93 % of the variance.")
    assert "What would halve it at 2 of the photos: a second string (U 0.200° to 0.090°)" in words
    weak = limit_words([({"lean": 0.1}, [first])])
    assert weak is not None and "What would help most: a second card" in weak
    assert limit_words([({}, [])]) is None and limit_words([({"x": None}, [])]) is None
