"""A drawn place read from its pixels: marks, crosses, a joint and two lines pointed at with a hand's error."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from distances import ASKED, hints_of, job_of
from shop.flat import Flat, draw_flat
from shop.flat_chance import Place, PrintError, place_of
from shop.jobs import lens_for

from shared.flags import FlagCode, in_doubt
from shared.reading import NO_RIB, Measured, Reading
from vision.lines.hints import Pointed
from vision.reader import read_photo

SEED = 4711


def read(place: Place, photo: Flat, hints: tuple[Pointed, ...]) -> Reading:
    return read_photo(photo.bgr, job_of(place), lens=lens_for(place.scene.look.camera), hints=hints)


@cache
def drawn() -> tuple[Place, Flat, Reading]:
    """With the true lens and print, and everything as far off the plane as by chance."""
    place = place_of(SEED, PrintError(), 0.05, strip=False)
    photo = draw_flat(place.scene)
    return place, photo, read(place, photo, hints_of(place, photo, np.random.default_rng(SEED)))


def by_name(reading: Reading) -> dict[str, Measured]:
    return {m.name: m for m in reading.dimensions}


def test_every_kind_is_read_within_three_u_without_a_level_reference() -> None:
    place, _, reading = drawn()
    found = by_name(reading)
    assert set(found) == set(place.truth) == set(ASKED)
    assert (reading.station, reading.chord.reason) == ("bench", NO_RIB) and reading.measured
    for name, true in place.truth.items():
        m = found[name]
        assert m.quantity is not None, (name, m.reason)
        assert abs(m.quantity.value - true) < 3 * m.quantity.u, name
        assert not in_doubt(m.flags), (name, m.flags)
    assert max(found[n].quantity.u for n in ("offset", "step", "gap")) < 0.4  # type: ignore[union-attr]


def test_a_pen_cross_and_a_printed_mark_are_placed_alike() -> None:
    """Both far better than they were pointed at: a hand's 4 px are over a millimetre here."""
    _, _, reading = drawn()
    for name in ("distance, printed marks", "distance, pen crosses"):
        q = by_name(reading)[name].quantity
        assert q is not None and q.budget()["where the marks are seen"] < 0.1


def test_what_nobody_pointed_at_is_not_guessed() -> None:
    place, photo, _ = drawn()
    some = tuple(h for h in hints_of(place, photo, np.random.default_rng(1)) if h.key not in ("mark c", "edge free"))
    found = by_name(read(place, photo, some))
    for name, lacks in (("offset", "mark c"), ("step", "edge free")):
        m = found[name]
        assert m.quantity is None and f"nobody has pointed at {lacks}" in (m.reason or "")
    assert found["gap"].quantity is not None


def test_where_nothing_is_marked_the_place_pointed_at_counts_with_its_u() -> None:
    place, photo, _ = drawn()
    bare = photo.pixels(np.array([[0.0, 0.02 * place.scene.look.chord_mm]]), place.scene.look)[0] + [90.0, 400.0]
    hints = hints_of(place, photo, np.random.default_rng(1))
    moved = tuple(replace(h, points=((float(bare[0]), float(bare[1])),)) if h.key == "mark c" else h for h in hints)
    m = by_name(read(place, photo, moved))["offset"]
    if m.quantity is None:  # nothing there at all, or the card: no value either
        return
    assert FlagCode.MARK_AS_POINTED in {f.code for f in m.flags}
    assert m.quantity.budget()["where the marks are seen"] > 0.5


def test_a_second_line_beside_makes_the_one_pointed_at_doubtful() -> None:
    """Two pen lines 2 mm apart, and a finger between them."""
    place, _, _ = drawn()
    a, b = place.scene.lines["datum"]
    aside = np.array([-(b - a)[1], (b - a)[0]]) / np.hypot(*(b - a)) * 2.0
    twice = replace(place, scene=replace(place.scene, lines={**place.scene.lines, "twin": (a + aside, b + aside)}))
    photo = draw_flat(twice.scene)
    hints = [h for h in hints_of(place, photo, np.random.default_rng(1)) if h.key != "line datum"]
    between = photo.pixels(np.stack([a + 0.5 * aside, b + 0.5 * aside]), place.scene.look)
    hints.append(Pointed("line", "datum", tuple((float(x), float(y)) for x, y in between)))
    m = by_name(read(place, photo, tuple(hints)))["offset"]
    assert FlagCode.LINE_BESIDE in {f.code for f in m.flags}
