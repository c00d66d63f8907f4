"""Which station a photo shows: the one its cards belong to."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from shared.job.model import Job, Station
from shared.job.named import Place
from vision.cards.detect import Card


@dataclass(frozen=True)
class Named:
    """The foremost station or place and its cards, or None with the reason.

    further : each other station with its cards, the nearest first. others : all cards but the foremost station's.
    """

    station: Station | Place | None
    cards: tuple[Card, ...]
    reason: str | None = None
    others: tuple[Card, ...] = ()
    further: tuple[tuple[Station, tuple[Card, ...]], ...] = ()

    @property
    def strangers(self) -> tuple[Card, ...]:
        """Cards of no station of the job."""
        known = {c.number for _, cards in self.further for c in cards}
        return tuple(c for c in self.others if c.number not in known)


def name_station(cards: list[Card], job: Job) -> Named:
    """The station or place whose cards stand foremost in the photo; ribs of others may stand behind it.

    cards : as `find_cards` gives them. job : which card belongs to which of them.

    >>> from shared.job.file import load_job
    >>> from vision.cards.detect import find_cards
    >>> from vision.image.photo import open_photo
    >>> job = load_job("samples/trainer/trainer.toml")
    >>> name_station(find_cards(open_photo("samples/trainer/photos/L1.jpg").gray), job).station.name
    'L1'
    """
    if not cards:
        return Named(None, (), "no station card was found: it must lie on the rib, whole, sharp and unhidden")
    twice = [n for n, k in Counter(c.number for c in cards).items() if k > 1]
    if twice:
        return Named(
            None,
            tuple(cards),
            f"card {twice[0]} is in the photo more than once (a copy or a picture of it): take the other one away",
        )
    owners = {c.number: job.owner_of_card(c.number) for c in cards}
    known = {s.name: s for s in owners.values() if s is not None}
    if not known:
        numbers = ", ".join(str(c.number) for c in cards)
        return Named(
            None,
            tuple(cards),
            f"card {numbers} belongs to no station of this job: check the card, or the job's card numbers",
        )
    # the foremost rib is the photo's own: its cards are seen the largest
    nearest = max((c for c in cards if owners[c.number] is not None), key=lambda c: c.px_per_mm)
    station = owners[nearest.number]
    mine = tuple(c for c in cards if owners[c.number] is station)
    others = tuple(c for c in cards if owners[c.number] is not station)
    ribs = [s for s in known.values() if s is not station and isinstance(s, Station)]
    groups = [(s, tuple(c for c in others if owners[c.number] is s)) for s in ribs]
    further = sorted(groups, key=lambda group: -max(c.px_per_mm for c in group[1]))
    return Named(station, mine, None, others, tuple(further))
