"""Quality gates: each threshold is held from both sides, alone and in the reader. A gate taken out fails here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from seen_rib import Rib, solved
from shop import PHONE, CardAt, Pen, Scene, String, draw
from shop.jobs import job_for, lens_for

from shared.numerics.arrays import F64
from shared.reading import Reading
from vision.assess import doubts, gates
from vision.cards import detect as cards
from vision.cards.detect import Card
from vision.cards.edges import Edges
from vision.cards.spec import SPECS
from vision.evidence import posterior
from vision.lines import chord
from vision.reader import read_photo

METHOD = Path(__file__).parents[2] / "docs" / "method.md"


def card(
    px_per_mm: float = 2.0, blur: float = 1.0, contrast: float = 80.0, corners: int = 24, edges: Edges | None = None
) -> Card:
    """A panel as the finder might report it."""
    spec = SPECS["panel"]
    board = spec.inner_corners()[:corners]
    h = np.diag([px_per_mm, px_per_mm, 1.0])
    return Card(
        spec,
        1,
        board,
        board * px_per_mm,
        np.full(len(board), 0.04),
        np.empty((0, 2)),
        h,
        px_per_mm,
        blur,
        contrast,
        edges or Edges(),
    )


def edges(across: float, down: float, upright: int = 20, level: int = 20) -> Edges:
    """Edges of two directions with the blur across each."""
    n = np.repeat([[1.0, 0.0], [0.0, 1.0]], [upright, level], axis=0)
    m = len(n)
    return Edges(np.zeros((m, 2)), np.zeros((m, 2)), n, np.full(m, 0.02), np.repeat([across, down], [upright, level]))


def before(*cards: Card) -> gates.Verdict:
    return gates.before_solving(list(cards))


def test_a_good_card_passes_every_gate() -> None:
    assert before(card(edges=edges(0.7, 0.7))) == gates.Verdict()


@pytest.mark.parametrize(
    ("just_bad", "just_good", "word"),
    [
        (
            card(px_per_mm=gates.MIN_PX_PER_MM - 0.01),
            card(px_per_mm=gates.MIN_PX_PER_MM + 0.01),
            "pixels per millimetre",
        ),
        (card(blur=gates.MAX_BLUR_PX + 0.01), card(blur=gates.MAX_BLUR_PX - 0.01), "blurred"),
        (card(contrast=gates.MIN_CONTRAST - 0.1), card(contrast=gates.MIN_CONTRAST + 0.1), "hardly differ"),
        (card(corners=gates.MIN_CORNERS - 1), card(corners=gates.MIN_CORNERS), "corners"),
        (
            card(edges=edges(np.sqrt(0.49 + (gates.MAX_SMEAR_PX + 0.02) ** 2 / 12), 0.7)),
            card(edges=edges(np.sqrt(0.49 + (gates.MAX_SMEAR_PX - 0.02) ** 2 / 12), 0.7)),
            "smeared",
        ),
        (
            card(edges=edges(0.7, 0.7, upright=gates.FEWEST_CARD_EDGES - 1)),
            card(edges=edges(0.7, 0.7, upright=gates.FEWEST_CARD_EDGES)),
            "smeared",
        ),
    ],
)
def test_refused_just_beyond_the_threshold_only(just_bad: Card, just_good: Card, word: str) -> None:
    assert word in (before(just_bad).reason or "")
    assert before(just_good).reason is None


@pytest.mark.parametrize(
    ("just_bad", "just_good", "code"),
    [
        (card(blur=gates.WORRY_BLUR_PX + 0.01), card(blur=gates.WORRY_BLUR_PX - 0.01), "blurred"),
        (
            card(edges=edges(0.7, np.sqrt(0.49 + (gates.WORRY_SMEAR_PX + 0.01) ** 2 / 12))),
            card(edges=edges(0.7, np.sqrt(0.49 + (gates.WORRY_SMEAR_PX - 0.01) ** 2 / 12))),
            "shaken",
        ),
    ],
)
def test_flagged_just_beyond_the_threshold_only(just_bad: Card, just_good: Card, code: str) -> None:
    assert [f.code for f in before(just_bad).flags] == [code]
    assert before(just_good).flags == ()


def test_the_method_states_the_thresholds_as_they_are() -> None:
    """The table in docs/method.md: flagged beyond, refused beyond, and the constants in that order."""
    table = METHOD.read_text().split("| gate | flagged beyond |")[1].split("\n\n")[0]
    rows = [line.strip("|").split("|") for line in table.splitlines()[2:]]
    told = {}
    for row in rows:
        numbers = [float(cell) for cell in row[1:3] if cell.strip()]
        names = [name.strip(" `") for name in row[3].split(",")]
        told |= dict(zip(names, numbers, strict=True))
    assert len(told) == 16
    for name, number in told.items():
        module = next(m for m in (gates, cards, posterior, doubts) if hasattr(m, name))
        assert number == getattr(module, name), name


def test_two_cards_are_as_good_as_the_better_one() -> None:
    assert before(card(px_per_mm=0.5, blur=5.0, contrast=5.0), card()).reason is None


def plane(tilt_deg: float = 0.0, rms: float = 0.05) -> Any:
    t = np.radians(tilt_deg)
    normal: F64 = np.array([np.sin(t), 0.0, np.cos(t)])
    return SimpleNamespace(normal=normal, state=SimpleNamespace(shift=np.array([0.0, 0.0, 1200.0])), corner_rms=(rms,))


@pytest.mark.parametrize(
    ("make", "worry", "most", "code", "word"),
    [
        (lambda v: plane(tilt_deg=v), gates.WORRY_TILT_DEG, gates.MAX_TILT_DEG, "oblique", "from square"),
        (lambda v: plane(rms=v), gates.WORRY_CORNER_RMS_PX, gates.MAX_CORNER_RMS_PX, "card-misfit", "bent"),
    ],
)
def test_gates_on_the_plane(make: Callable[[float], Any], worry: float, most: float, code: str, word: str) -> None:
    assert gates.after_solving(make(0.99 * worry)) == gates.Verdict()
    assert [f.code for f in gates.after_solving(make(1.01 * worry)).flags] == [code]
    assert gates.after_solving(make(0.99 * most)).reason is None
    assert word in (gates.after_solving(make(1.01 * most)).reason or "")


def test_a_bent_card_shows_in_its_corners() -> None:
    """A panel bowed by 4 mm over its length, seen askew, against the same panel flat."""
    rib = Rib(cards=(("panel", 1, -60.0, 80.0, 0.4),), view=(14.0, -8.0, 1.0))
    scene = rib.scene()
    spec = SPECS["panel"]
    x = scene.cards[0].board[:, 0] / spec.size_mm[0] - 0.5
    world = rib.board("panel", -60.0, 80.0, 0.4, scene.cards[0].board)
    world = world + (16.0 * (0.25 - x**2))[:, None] * np.cross(rib.axes[:, 0], rib.axes[:, 1])
    bent = replace(scene, cards=(replace(scene.cards[0], pixels=rib.pixels(world)),))
    flat, bowed = gates.after_solving(solved(scene)), gates.after_solving(solved(bent))
    assert flat.flags == ()
    assert bowed.reason is not None or [f.code for f in bowed.flags] == ["card-misfit"]


SHOP = Scene(
    seed=61,
    camera=PHONE,
    chord_mm=700.0,
    chord_deg=1.2,
    cards=(CardAt("panel", 4, 0.48),),
    clutter=0,
    chord_pen=Pen(0.9, cover=0.9, wave_mm=0.05, gaps=0),
    marks="none",
    strings=(String(-170.0, radius_mm=0.9, rgb=(0.06, 0.06, 0.07), shadow=0.0),),
    holes=False,
    label="R1",
    yaw_deg=4.0,
)
"""A small rib, so that 3 megapixels are enough."""


@cache
def photo(**changed: Any) -> np.ndarray:
    """The shop's photo with something changed."""
    return draw(replace(SHOP, **changed))[0]


def read(**changed: Any) -> Reading:
    return read_photo(photo(**changed), job_for(SHOP), lens=lens_for(PHONE))


def codes(reading: Reading) -> set[str]:
    return {f.code for f in (*reading.flags, *reading.chord.flags)}


def test_the_photo_itself_is_good() -> None:
    """Else nothing below would show anything."""
    reading = read()
    assert reading.chord.quantity is not None and codes(reading) == set()


@pytest.mark.parametrize(
    ("module", "threshold", "value", "words"),
    [
        (gates, "MIN_PX_PER_MM", 5.0, "pixels per millimetre"),
        (gates, "MAX_BLUR_PX", 0.3, "blurred"),
        (gates, "MAX_SMEAR_PX", -1.0, "smeared"),
        (gates, "MIN_CONTRAST", 130.0, "hardly differ"),
        (gates, "MIN_CORNERS", 25, "corners of the card"),
        (gates, "MAX_TILT_DEG", 1.0, "from square"),
        (gates, "MAX_CORNER_RMS_PX", 0.001, "bent"),
        (chord, "DOUBT", -1.0, "be the chord line"),
        (doubts, "DOUBT", -1.0, "may be"),
        (doubts, "MAX_U_DEG", 0.01, "leaves the angle open"),
    ],
)
def test_the_reader_asks_every_gate(
    monkeypatch: pytest.MonkeyPatch, module: Any, threshold: str, value: float, words: str
) -> None:
    """The good photo, the threshold moved past it: a reader that did not ask would give an angle."""
    monkeypatch.setattr(module, threshold, value)
    reading = read()
    assert reading.chord.quantity is None
    assert words in (reading.chord.reason or "")


@pytest.mark.parametrize(
    ("module", "threshold", "value", "code"),
    [
        (gates, "WORRY_BLUR_PX", 0.3, "blurred"),
        (gates, "WORRY_SMEAR_PX", -1.0, "shaken"),
        (gates, "WORRY_TILT_DEG", 1.0, "oblique"),
        (gates, "WORRY_CORNER_RMS_PX", 0.001, "card-misfit"),
        (doubts, "SHORT", 1.05, "chord-short"),
        (doubts, "GIVE", -1.0, "line-doubtful"),
    ],
)
def test_the_reader_passes_every_doubt_on(
    monkeypatch: pytest.MonkeyPatch, module: Any, threshold: str, value: float, code: str
) -> None:
    monkeypatch.setattr(module, threshold, value)
    assert codes(read()) == {code}


@pytest.mark.parametrize(
    ("line", "spar", "level", "flagged"),
    [
        (0.999, 0.999, 0.999, (False, False)),
        (0.90, 0.999, 0.999, (True, False)),
        (0.999, 0.90, 0.999, (False, True)),
        (0.999, 0.999, 0.90, (True, True)),
        (0.97, 0.97, 0.97, (True, True)),
    ],
)
def test_a_doubtful_level_reference_makes_both_angles_doubtful(
    monkeypatch: pytest.MonkeyPatch, line: float, spar: float, level: float, flagged: tuple[bool, bool]
) -> None:
    """What is no level reference turns the spar angle as it turns the chord angle; 0.97 twice over is 0.94."""

    def told(result: Any, solution: Any, found: Any, *rest: Any) -> doubts.Doubt:
        gravity, other = replace(found.gravity, chance=level), replace(found.spar, chance=spar)
        return doubts.doubts(result, solution, replace(found, chance=line, gravity=gravity, spar=other), *rest)

    monkeypatch.setattr("vision.readings.doubts", told)
    reading = read()
    seen = [{f.code for f in angle.flags} for angle in (reading.chord, reading.spar)]
    assert ("line-doubtful" in seen[0], "spar-doubtful" in seen[1]) == flagged


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"exposure": 0.006, "noise": 0.1}, "hardly differ"),
        ({"yaw_deg": 60.0, "fill": 0.8}, "from square"),
        ({"chord_pen": None}, "line"),
        ({"strings": ()}, "level reference"),
    ],
)
def test_photos_that_are_refused(changed: dict[str, Any], words: str) -> None:
    """Dark; from far to one side; no chord line drawn; no string."""
    assert words in (read(**changed).chord.reason or "")


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"motion_px": 3.0, "motion_deg": 3.0}, "shaken"),
        ({"yaw_deg": 37.0}, "oblique"),
        ({"chord_from": (0.2, 0.8)}, "chord-short"),
    ],
)
def test_photos_that_are_flagged(changed: dict[str, Any], code: str) -> None:
    """Shaken by 3 pixels; askew; the line drawn over six tenths of the chord."""
    reading = read(**changed)
    assert reading.chord.quantity is not None and code in codes(reading)


def test_a_burnt_out_card_is_no_doubt_where_the_value_is_right() -> None:
    """Overexposure moves both edges of a square alike: the corners stay."""
    reading = read(exposure=1.6)
    assert reading.chord.quantity is not None and codes(reading) == set()
    assert abs(reading.chord.quantity.value - SHOP.chord_deg) < 2 * reading.chord.quantity.u
