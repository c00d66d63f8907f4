"""The printed pack, rasterised by PDFium (another renderer than the one that wrote it) and read by OpenCV."""

from __future__ import annotations

import cv2
import numpy as np
import pypdfium2
import pytest

from rigging.printed import aids
from rigging.printed.boards import card_rects, kind_for, marker_bits
from rigging.printed.card_sheet import PrintedCard, draw_card
from rigging.printed.pack import cards_of, print_pack
from rigging.printed.pages import PAPERS, POINTS_PER_MM, Book
from shared.job.model import Job, Station, Wing
from vision.cards.detect import find_cards
from vision.cards.spec import SPECS, dictionary

PX_PER_MM = 12.0
FRONT = 3
"""Pages before the first card."""


def raster(pdf: bytes, page: int, px_per_mm: float = PX_PER_MM):
    """Gray pixels, and pixels per mm along x and y (PDFium stretches a page to whole pixels)."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        leaf = document[page]
        gray = np.array(leaf.render(scale=px_per_mm / POINTS_PER_MM, grayscale=True).to_numpy()).squeeze()
        return gray, np.array(gray.shape[::-1]) / np.array(leaf.get_size()) * POINTS_PER_MM
    finally:
        document.close()


def charuco(spec, ids):
    return cv2.aruco.CharucoBoard((spec.columns, spec.rows), spec.square_mm, spec.marker_mm, dictionary(), ids)


def as_seen(gray):
    """As a camera sees it: edges of a pixel's width."""
    return cv2.GaussianBlur(gray, (0, 0), 0.8)


def job() -> Job:
    stations = (
        Station("R1", "right", 400.0, 1200.0, (1, 13), 2.0, 0.25),
        Station("Ω-rib, outer bay, aileron nose piece number seven", "right", 900.0, 760.0, (2,), 1.0, 0.25),
        Station("L1", "left", 400.0, 760.0, (7,), 2.0, 0.25, card="panel"),
    )
    return Job(Wing("Zweisitzer Größe", "R1"), stations)


@pytest.fixture(scope="module")
def pack() -> bytes:
    return print_pack(job())


@pytest.mark.parametrize("kind", ["panel", "strip"])
@pytest.mark.parametrize("number", [0, 17, 30])
def test_card_is_the_board_opencv_draws(kind, number):
    spec, scale = SPECS[kind], 28
    ids = np.arange(32 * number, 32 * number + spec.markers)
    board = charuco(spec, ids)
    width, height = (round(v * scale) for v in spec.size_mm)
    theirs = board.generateImage((width, height), marginSize=0, borderBits=1)
    ours = np.full((height, width), 255, np.uint8)
    for x, y, w, h in card_rects(kind, number):
        ours[round(y * scale) : round((y + h) * scale), round(x * scale) : round((x + w) * scale)] = 0
    assert np.array_equal(ours, theirs)


@pytest.mark.parametrize("number", [-1, 31])
def test_card_number_outside_the_dictionary_is_refused(number):
    with pytest.raises(ValueError, match="0 to 30"):
        card_rects("panel", number)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("kind", ["panel", "strip"])
def test_corners_of_the_rendered_card_lie_within_five_hundredths_of_a_millimetre(kind, paper):
    book = Book(paper, "test")
    book.page("card")
    card = PrintedCard(kind, 5, "R3")
    left, low = 12.0, 60.0
    draw_card(book, card, left, low)
    gray, scale = raster(book.done(), 0)
    assert np.abs(np.array(gray.shape[::-1]) / scale - PAPERS[paper]).max() < 0.01
    spec = SPECS[kind]
    ids = np.arange(160, 160 + spec.markers)
    board = charuco(spec, ids)
    found, found_ids, _, marker_ids = cv2.aruco.CharucoDetector(board).detectBoard(gray)
    assert sorted(np.ravel(marker_ids)) == list(ids)
    assert len(found_ids) == (spec.columns - 1) * (spec.rows - 1)
    top = PAPERS[paper][1] - (low + 14.0 + spec.size_mm[1])
    want = board.getChessboardCorners()[np.ravel(found_ids), :2] + [left + 6.0, top]
    got = (found.reshape(-1, 2) + 0.5) / scale
    assert np.abs(got - want).max() < 0.05


def test_no_hairlines_inside_the_black():
    book = Book("a4", "test")
    book.page("card")
    draw_card(book, PrintedCard("panel", 5, "R3"), 12.0, 60.0)
    gray, _ = raster(book.done(), 0, 7.3)  # a scale at which edges fall between pixels
    for bits, (r, c) in ((marker_bits(160), (0, 1)), (marker_bits(161), (0, 3))):
        for row, col in zip(*np.nonzero(bits), strict=True):
            if col + 1 < 7 and bits[row, col + 1]:  # the seam between two black modules
                x = (18 + c * 25 + 3.5 + (col + 1) * 18 / 7) * 7.3
                y = (297 - 60 - 14 - 125 + r * 25 + 3.5 + (row + 0.5) * 18 / 7) * 7.3
                assert gray[int(y), int(x) - 1 : int(x) + 2].max() < 16


def test_every_card_of_the_job_is_found_on_the_pages_with_its_number_and_kind(pack):
    cards = cards_of(job())
    seen = {}
    for page in range(FRONT, len(pypdfium2.PdfDocument(pack)) - 3):
        seen |= {c.number: c.spec.kind for c in find_cards(as_seen(raster(pack, page, 4.0)[0]))}
    assert seen == {c.number: c.kind for c in cards}
    assert [c.number for c in cards[:4]] == [1, 13, 2, 7]
    assert [c.kind for c in cards[:4]] == ["panel", "panel", "strip", "panel"]
    assert len(cards) == 8


def test_the_tools_own_detector_puts_the_printed_corners_where_they_are():
    book = Book("a4", "test")
    book.page("card")
    draw_card(book, PrintedCard("strip", 9, "R3"), 30.0, 100.0)
    gray, scale = raster(book.done(), 0, 4.0)
    (card,) = find_cards(as_seen(gray))
    want = card.board + np.array([30.0 + 6.0, 297.0 - 100.0 - 14.0 - 45.0])
    assert card.number == 9
    assert np.abs((card.pixels + 0.5) / scale - want).max() < 0.05


@pytest.mark.parametrize("page", [0, 2])
def test_bars_are_a_hundred_millimetres(pack, page):
    gray, scale = raster(pack, page)
    width_mm, height_mm = PAPERS["a4"]
    row = gray[round((height_mm - 10 - 1.7) * scale[1])]  # crosses the two end strokes only
    column = gray[:, round((8.5 - 1.7) * scale[0])]
    for profile, middle, px in ((row, width_mm / 2, scale[0]), (column, height_mm / 2, scale[1])):
        ends = [_dark_centre(profile.astype(float), middle + side * 50.0, px) for side in (-1, 1)]
        assert ends[1] - ends[0] == pytest.approx(100.0, abs=0.02)


def _dark_centre(profile, near_mm, px):
    """Centre of the dark stroke within 1.5 mm of a place, mm."""
    at = np.arange(round((near_mm - 1.5) * px), round((near_mm + 1.5) * px))
    dark = 255.0 - profile[at]
    assert dark.sum() > 100
    return float((dark * (at + 0.5)).sum() / dark.sum() / px)


def test_lens_board_has_nine_by_six_corners_of_25_mm(pack):
    gray, scale = raster(pack, len(pypdfium2.PdfDocument(pack)) - 1, 6.0)
    found, corners = cv2.findChessboardCornersSB(gray, (9, 6))
    assert found
    grid = (corners.reshape(6, 9, 2) + 0.5) / scale
    assert np.abs(np.linalg.norm(np.diff(grid, axis=1), axis=2) - 25.0).max() < 0.05
    assert np.abs(np.linalg.norm(np.diff(grid, axis=0), axis=2) - 25.0).max() < 0.05


def test_tags_are_those_from_992_on_and_20_mm_wide(pack):
    gray, _ = raster(pack, len(pypdfium2.PdfDocument(pack)) - 2, 8.0)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary()).detectMarkers(gray)
    assert set(np.ravel(ids)) == set(range(992, 1000))
    sides = np.array([np.linalg.norm(np.roll(c[0], -1, axis=0) - c[0], axis=1) for c in corners]) / 8.0
    assert np.abs(sides - 20.0).max() < 0.3  # whole-pixel corners of the plain detector


def test_marks_are_quartered_circles_16_mm_across(pack):
    gray, _ = raster(pack, len(pypdfium2.PdfDocument(pack)) - 3, 8.0)
    _, _, stats, _ = cv2.connectedComponentsWithStats((gray < 128).astype(np.uint8), connectivity=4)
    quarter = np.pi * 8.0**2 / 4 * 64  # black area of one quarter, pixels
    quarters = stats[np.abs(stats[:, cv2.CC_STAT_AREA] - quarter) < 0.03 * quarter]
    assert len(quarters) >= 100 and len(quarters) % 2 == 0
    assert np.abs(quarters[:, cv2.CC_STAT_WIDTH] - 64).max() <= 1


def test_thin_ribs_get_strips_and_deep_ones_panels():
    assert kind_for(760.0) == "strip"
    assert kind_for(1200.0) == "panel"


def test_black_and_grey_only(pack):
    document = pypdfium2.PdfDocument(pack)
    for page in (0, 1, 2):
        rgb = document[page].render(scale=1.0).to_numpy().astype(int)
        assert np.ptp(rgb[..., :3], axis=2).max() <= 1
    document.close()


def test_the_pack_is_vector_and_carries_the_names(pack):
    document = pypdfium2.PdfDocument(pack)
    words = "".join(document[k].get_textpage().get_text_bounded() for k in range(FRONT, 6))
    images = [o for k in range(len(document)) for o in document[k].get_objects() if o.type == 3]
    document.close()
    assert "Ω-rib, outer bay" in words and "Größe" in words
    assert not images


def test_marks_fill_a_page_without_running_over_its_edge():
    for paper in PAPERS:
        book = Book(paper, "test")
        assert aids.marks_page(book) >= 60


@pytest.mark.parametrize("turn", [0, 180])
def test_a_printed_page_photographed_askew_names_its_station(pack, turn):
    """The page as a flat thing in space, seen through a pinhole from 0.5 m, 25 degrees from square."""
    px = 5.0
    gray, _ = raster(pack, FRONT, px)
    height, width = gray.shape
    lens = np.array([[1500.0, 0, 800.0], [0, 1500.0, 600.0], [0, 0, 1.0]])
    spin = cv2.Rodrigues(np.radians([0.0, 0.0, turn + 4.0]))[0]
    pose = cv2.Rodrigues(np.radians([12.0, 25.0, 0.0]))[0] @ spin
    middle = pose @ np.array([width / 2 / px, height / 2 / px, 0.0])
    flat = np.column_stack([pose[:, 0] / px, pose[:, 1] / px, np.array([0, 0, 500.0]) - middle])
    photo = cv2.warpPerspective(gray, lens @ flat, (1600, 1200), flags=cv2.INTER_AREA, borderValue=90)
    noise = np.random.default_rng(1).normal(0, 2.0, photo.shape)
    seen = find_cards(np.clip(0.8 * as_seen(photo) + 20 + noise, 0, 255).astype(np.uint8))
    stations = {job().station_of_card(c.number).name for c in seen}
    assert stations == {"R1", job().stations[1].name}
