"""A stand-in for the reading of a photo: says of each photo (by its SHA-256) what the test told it to."""

from __future__ import annotations

from dataclasses import dataclass

from shared.flags import Flag
from shared.job.model import Job
from shared.lines import Role
from shared.quantity import Component, Quantity
from shared.reading import Angle, Evidence, Made, Photo, Reading, SeenCard, SeenLine
from vision.image.photo import Picture


@dataclass(frozen=True)
class Told:
    """What a photo shows. u : standard uncertainty of its own. lean : change of the chord per u of the stated lean.

    chord, spar : None where the line is not read. drawn_mm : length of the chord line seen, a pixel a millimetre.
    aside : where in the picture the card lies, pixels; None: elsewhere in every photo.
    """

    cards: tuple[int, ...]
    chord: float | None
    spar: float | None = None
    u: float = 0.02
    lean: float = 0.0
    forward: str = "right"
    reference: str = "plumb"
    taken: str | None = "2026-05-16T09:00:00"
    flags: tuple[Flag, ...] = ()
    drawn_mm: float | None = None
    aside: float | None = None


TOLD: dict[str, Told] = {}


def read_photo(picture: Picture, job: Job) -> Reading:
    """The reading that was told; a photo of no station of the job is refused, as the reader refuses it."""
    t = TOLD[picture.sha256]
    photo = Photo(picture.name, picture.sha256, picture.width, picture.height, t.taken, "invented")
    made = Made("test", "test-lens", "string")
    cards = [job.station_of_card(c) for c in t.cards]
    station = next((s for s in cards if s is not None), None)
    if station is None:
        none = Angle(None, f"card {t.cards[0]} belongs to no station of this job")
        return Reading(photo, None, none, none, None, None, made)
    name = picture.sha256[:6]
    aside = t.aside if t.aside is not None else float(int(picture.sha256[:4], 16))
    seen = Evidence((picture.width, picture.height), tuple(_card(n, aside) for n in t.cards), _lines(t, aside))
    chord, spar = _angle(t.chord, t, f"{name} chord", t.lean), _angle(t.spar, t, f"{name} spar", t.lean)
    return Reading(photo, station.name, chord, spar, t.forward, t.reference, made, t.flags, evidence=seen)  # type: ignore[arg-type]


def _card(number: int, aside: float) -> SeenCard:
    """A panel card of 175 x 125 mm, a pixel a millimetre, so far aside in the picture."""
    outline = ((aside, 0.0), (aside + 175.0, 0.0), (aside + 175.0, 125.0), (aside, 125.0))
    return SeenCard("panel", number, outline, (), (), 0.1)


def _lines(t: Told, aside: float) -> tuple[SeenLine, ...]:
    if t.drawn_mm is None:
        return ()
    ends = ((aside - 300.0, 200.0), (aside + t.drawn_mm - 300.0, 200.0))
    return (SeenLine(Role.CHORD, ends, 0.5, 0.1, True, "told"),)


def _angle(value: float | None, t: Told, source: str, lean: float) -> Angle:
    if value is None:
        return Angle(None, "the line was not found")
    parts = [Component("line fit", f"photo:{source}", t.u), Component("lens", "lens:test axis 1", 0.002)]
    if lean:
        parts.append(Component("lean of the rib plane", "lean of the ribs", lean))
    return Angle(Quantity(value, tuple(parts)))
