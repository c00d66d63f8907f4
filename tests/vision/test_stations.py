"""Which station a photo shows: the foremost rib's, whatever stands behind it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from shared.job.model import Job, Station, Wing
from vision.cards.stations import name_station


def job() -> Job:
    stations = tuple(
        Station(name, "right", 500.0 * k, 1000.0, cards, 2.0, 0.25)
        for k, (name, cards) in enumerate((("R1", (1, 16)), ("R2", (2,)), ("R3", (3,))))
    )
    return Job(Wing("trainer", "R1"), stations)


def card(number: int, px_per_mm: float) -> Any:
    return SimpleNamespace(number=number, px_per_mm=px_per_mm)


def test_the_foremost_rib_is_the_photos_station() -> None:
    named = name_station([card(2, 1.9), card(1, 2.6), card(3, 1.5)], job())
    assert named.station is not None
    assert named.station.name == "R1"
    assert [c.number for c in named.cards] == [1]
    assert sorted(c.number for c in named.others) == [2, 3]


def test_both_cards_of_the_foremost_rib_are_its_own() -> None:
    named = name_station([card(16, 2.4), card(2, 1.9), card(1, 2.6)], job())
    assert sorted(c.number for c in named.cards) == [1, 16]


def test_a_card_of_no_station_is_never_taken_for_the_foremost() -> None:
    named = name_station([card(9, 4.0), card(2, 1.9)], job())
    assert named.station is not None
    assert named.station.name == "R2"
    assert [c.number for c in named.others] == [9]


def test_no_card_and_strange_cards_and_copies_are_reasons() -> None:
    assert "no station card" in (name_station([], job()).reason or "")
    assert "belongs to no station" in (name_station([card(9, 2.0)], job()).reason or "")
    assert "more than once" in (name_station([card(1, 2.0), card(1, 1.0)], job()).reason or "")
