import dataclasses
import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from shared.flags import FlagCode
from shared.job.file import load_job
from shared.lines import Role
from shared.quantity import Component, Quantity
from shared.reading import (
    Advice,
    Angle,
    Evidence,
    Flag,
    Made,
    Photo,
    Reading,
    SeenCard,
    SeenLine,
    SeenMark,
)
from tests.contrast import BLIND, apart, contrast, luminance
from vision.overlay import COLOURS, draw_overlay, words
from vision.overlay.drawing import rails
from vision.overlay.lettering import extent, face, halo, wrap
from vision.overlay.picture import gray_of, reduced
from vision.overlay.placing import Occupancy, beside, leader
from vision.overlay.strips import straightened
from vision.reader import read_photo

HOME = Path(__file__).parent.parent

SIZE = (1200, 900)
SLOPE = 0.02
CHORD = tuple((x, 450.0 + SLOPE * (x - 600)) for x in np.linspace(200, 1000, 30))


def photo(bow: float = 0.0) -> np.ndarray:
    """A pale picture with a dark line 3 px wide along CHORD, drawn from its distance to each pixel."""
    y, x = np.mgrid[: SIZE[1], : SIZE[0]].astype(np.float64)
    off = (y - 450 - SLOPE * (x - 600) - bow) / math.hypot(1, SLOPE)
    gray = 200 - 150 * np.clip(2 - np.abs(off), 0, 1) * ((x > 190) & (x < 1010))
    return np.repeat(gray.astype(np.uint8)[:, :, None], 3, axis=2)


def reading(**changes: object) -> Reading:
    q = Quantity(1.4869, (Component("rib plane tilt", "photo:a tilt", 0.0157),))
    evidence = Evidence(
        SIZE,
        (SeenCard("panel", 2, ((500, 200), (700, 200), (700, 340), (500, 340)), ((520, 220),), (), 0.11),),
        (
            SeenLine(Role.CHORD, CHORD, 0.8, 0.3, True, "fits"),
            SeenLine(Role.PLUMB, ((620, 20), (622, 880)), 0.8, 0.3, True, "fits"),
            SeenLine(
                Role.CANDIDATE,
                ((210, 520), (990, 540)),
                0.8,
                0.3,
                False,
                "no mark lies on it",
                (("length, chords", 0.4),),
            ),
        ),
        (SeenMark("quartered", (220.0, 442.4), 0.12, 0.1),),
    )
    whole = Reading(
        Photo("a.jpg", "ab" * 32, *SIZE, None, None),
        "R2",
        Angle(q),
        Angle(None),
        "right",
        "plumb",
        Made("0.1.0", None, None),
        evidence=evidence,
    )
    return dataclasses.replace(whole, **changes)


def head_height(r: Reading, width: int) -> int:
    return words.caption(words.sentences(r, {})[0], width).shape[0]


def test_input_is_left_alone_and_size_is_kept_in_bounds() -> None:
    picture = photo()
    before = picture.copy()
    out = draw_overlay(picture, reading())
    assert out.dtype == np.uint8
    assert out.shape[1:] == (1200, 3)
    np.testing.assert_array_equal(picture, before)
    assert draw_overlay(picture, reading(), max_width=700).shape[1] == 700


@pytest.mark.parametrize(
    "make",
    [
        lambda p: p[:, :, 0].copy(),
        lambda p: p.astype(np.uint16) * 257,
        lambda p: np.dstack([p, np.full(p.shape[:2], 255, np.uint8)]),
    ],
)
def test_grey_16_bit_and_transparent_pictures(make: object) -> None:
    assert draw_overlay(make(photo()), reading()).shape == draw_overlay(photo(), reading()).shape  # type: ignore[operator]


def test_other_number_types_are_refused() -> None:
    with pytest.raises(ValueError, match="float64"):
        gray_of(photo().astype(np.float64))


def test_pixel_centres_are_kept_when_reduced() -> None:
    # first pixel's centre (0, 0) in both: photo pixel x lies at (x + 0.5) s - 0.5 on the reduced one
    r = reading(evidence=Evidence((2400, 1800), (SeenCard("panel", 1, (), ((1000.5, 800.5),), (), 0.1),)))
    out = draw_overlay(np.full((1800, 2400, 3), 30, np.uint8), r, max_width=800)
    top = head_height(r, 800)
    part = out[top : top + 600].astype(float)[:, :, 0] - 30
    part[part < 20] = 0
    y, x = np.mgrid[:600, :800]
    assert (x * part).sum() / part.sum() == pytest.approx(1001 / 3 - 0.5, abs=0.1)
    assert (y * part).sum() / part.sum() == pytest.approx(801 / 3 - 0.5, abs=0.1)


def test_rails_leave_the_line_itself_visible() -> None:
    image = photo()
    drawn = image.copy()
    rails(drawn, np.array(CHORD), COLOURS["chord"], 8.0, 2)
    for x, y in CHORD[1:-1]:
        np.testing.assert_array_equal(drawn[round(y), round(x)], image[round(y), round(x)])
        assert (drawn[round(y) - 9 : round(y) - 6, round(x)] != image[round(y) - 9 : round(y) - 6, round(x)]).any()


@pytest.mark.parametrize("bow", [0.0, 3.0, -2.0])
def test_strip_shows_the_line_level_at_its_true_distance(bow: float) -> None:
    strip = straightened(photo(bow)[:, :, 0], np.array(CHORD), 1000, 121, 15.0)
    dark = 255.0 - strip[:, 100:900].astype(float)
    dark[dark < 60] = 0
    rows = (np.arange(121)[:, None] * dark).sum(axis=0) / dark.sum(axis=0)
    assert rows.mean() == pytest.approx(60 + 4 * bow / math.hypot(1, SLOPE), abs=0.5)
    assert np.ptp(rows) < 3.0  # under a pixel of the photo


def test_refusal_and_flags_are_told_in_words() -> None:
    refused = reading(
        chord=Angle(None, "no plumb line in the photo"),
        flags=(Flag(FlagCode.CARD_MISFIT, "one small card"),),
        advice=(Advice("hang a string"),),
    )
    head, rest = words.sentences(refused, {})
    assert [s.text for s in head] == [
        "R2: NOT MEASURED",
        "Reason: no plumb line in the photo",
        "To do: hang a string",
        "FLAG: one small card",
    ]
    assert "hang a string" not in " ".join(s.text for s in rest)
    draw_overlay(photo(), refused)


def test_headline_first_then_what_to_do_and_numbers_about_candidates_only_on_request() -> None:
    said = words.Headline("nonconforming: +0.49° from design, tolerance ±0.25°", "turn it")
    r = reading(flags=(Flag("one-card", "one small card"),), advice=(Advice("come nearer"),))
    head, rest = words.sentences(r, {2: "A"}, said)
    assert [s.text for s in head[:3]] == ["R2  chord 1.487° ± 0.031°", said.verdict, "To do: turn it"]
    assert head[-1].text == "FLAG: one small card"
    assert [s.text for s in rest[:2]] == ["Would help: come nearer", "A: no mark lies on it"]
    _, rest = words.sentences(r, {2: "A"}, said, details=True)
    assert rest[1].text == "A: no mark lies on it (length 0.4 chords)"
    assert not np.array_equal(draw_overlay(photo(), r), draw_overlay(photo(), r, details=True))


def test_what_the_reader_says_of_candidates_has_numbers_only_on_request() -> None:
    """Words of a true reading, not made up here: each candidate's likeliest kind, and how likely where it is asked for."""
    sample = HOME / "samples" / "trainer"
    r = read_photo(sample / "photos" / "R6.jpg", load_job(sample / "trainer.toml"))
    letters = {i: chr(65 + i) for i, line in enumerate(r.evidence.lines) if line.role is Role.CANDIDATE}
    assert letters
    for details in (False, True):
        _, rest = words.sentences(r, letters, None, details)
        said = [s.text for s in rest if s.text[1:3] == ": "]
        assert len(said) == len(letters)
        assert all(any(c.isdigit() for c in text) is details for text in said), said
    rod = next(text for text in said if "a rod, a cable or a slanted string 0." in text)
    assert rod.split(": ")[1].startswith("a rod, a cable or a slanted string, probably (a rod")


def test_without_evidence_or_station_the_words_stand_alone() -> None:
    bare = reading(evidence=None, station=None, forward=None, reference=None)
    assert draw_overlay(photo(), bare).shape[0] > SIZE[1]


def test_caption_is_as_large_on_a_small_picture() -> None:
    # legible on a phone: the smallest type is at least 1/50 of the width, 8 px of a 390 px screen
    parts = [*itertools.chain(*words.sentences(reading(), {2: "A"}))]
    assert min(p.size for p in parts) >= 1 / 50
    for width in (400, 1600):
        sheet = words.caption(parts, width)
        assert sheet.shape[1] == width
        inked = (sheet != np.array(words.PAPER)).any(axis=2)
        assert not inked[:, -width // 100 :].any()  # nothing runs out at the right


def test_caption_colours_stand_out() -> None:
    for colour in (words.INK, words.QUIET, words.WARN, words.STOP):
        assert contrast(colour[::-1], words.PAPER[::-1]) >= 4.5
    for colour in COLOURS.values():
        assert abs(luminance(colour[::-1]) - luminance(halo(colour)[::-1])) > 0.15


def test_wrapping_breaks_long_words_and_keeps_every_letter() -> None:
    font = face(20)
    text = "a verylongwordthatneverends" * 3 + " end"
    lines = wrap(text, font, 150)
    assert all(font.getlength(line) <= 150 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert wrap("", font, 150) == []


def test_labels_keep_off_each_other_and_inside() -> None:
    board = Occupancy((800, 600))
    path = np.array([[100.0, 300.0], [700.0, 310.0]])
    board.avoid(path)
    size = extent("chord line", face(20))
    boxes = [(*(c := board.place(beside(path, size, 6), size)), c[0] + size[0], c[1] + size[1]) for _ in range(5)]
    for a, b in itertools.combinations(boxes, 2):
        assert min(a[2], b[2]) <= max(a[0], b[0]) or min(a[3], b[3]) <= max(a[1], b[1])
    assert all(b[0] >= 0 and b[1] >= 0 and b[2] <= 800 and b[3] <= 600 for b in boxes)


def test_portrait_photo_keeps_its_shape() -> None:
    assert reduced(np.zeros((1500, 1000, 3), np.uint8), np.zeros((1500, 1000), np.uint8), 500).shape == (
        750,
        500,
        3,
    )


def test_near_copies_of_a_candidate_share_one_letter() -> None:
    lines = tuple(
        SeenLine(Role.CANDIDATE, ((210, 520 + d), (990, 540 + d)), 0.8, 0.3, False, "short") for d in (0, 3, 200)
    )
    head_and_rest = draw_overlay(photo(), reading(evidence=Evidence(SIZE, lines=lines)))
    from vision.overlay import _letters

    assert _letters(lines, SIZE) == {0: "A", 2: "B"}
    assert head_and_rest.shape[1] == 1200


def test_points_that_are_nowhere_are_left_out() -> None:
    nan = float("nan")
    lines = (
        SeenLine(Role.CHORD, ((nan, nan), *CHORD), 0.8, 0.3, True, ""),
        SeenLine(Role.CANDIDATE, ((nan, 1.0), (2.0, nan)), 0.8, 0.3, False, "x"),
        SeenLine(Role.SPAR, (), 0.8, 0.3, True, ""),
    )
    marks = (SeenMark("cross", (nan, 2.0), 0.1, 0.1),)
    drawn = draw_overlay(photo(), reading(evidence=Evidence(SIZE, lines=lines, marks=marks)))
    assert drawn.shape[1] == 1200


def test_far_label_is_tied_to_its_line_and_a_near_one_is_not() -> None:
    path = np.array([[100.0, 300.0], [400.0, 300.0], [700.0, 300.0]])
    tie = leader((380.0, 200.0), (60.0, 20.0), path, 30.0)
    np.testing.assert_allclose(tie, [[400.0, 220.0], [400.0, 300.0]], rtol=0, atol=1e-9)
    assert leader((380.0, 260.0), (60.0, 20.0), path, 30.0).shape == (0, 2)


@pytest.mark.parametrize("blindness", sorted(BLIND))
def test_line_colours_differ_for_colour_blind_eyes(blindness: str) -> None:
    drawn = [COLOURS[role][::-1] for role in ("chord", "spar", "plumb", "candidate", "card", "mark")]
    for a, b in itertools.combinations(drawn, 2):
        assert apart(a, b, blindness) > 10
