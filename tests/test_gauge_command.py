"""`ribangle gauge`: add, read, teach, tag; reading the display by tag, corners and crop."""

import cv2
import numpy as np
import pytest

from benchmarks.display_render import Style, board
from rigging.cli.main import run
from shared.errors import UserError
from shared.gauge.append import append_reading
from shared.gauge.csv_file import load_gauge_readings
from vision.display.read import read_display
from vision.display.tag import FIRST_TAG, display_corners, find_tags, load_display, save_display, tag_picture, teach

PLAIN = Style(width=0.55, thick=0.13, gap=0.015, pitch=0.8, slant=6.0, ends="hex", nine_tail=True, six_top=True,
              seven_serif=False)  # fmt: skip


def panel(text, light=False):
    """A clean display, (h, w) uint8."""
    ink, _ = board(text, PLAIN, np.random.default_rng(4), 0.0, False)
    grey = 30 + 200 * ink if light else 190 - 160 * ink
    return cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA).astype(np.uint8)


def photo(text, ident=FIRST_TAG, turn=8.0):
    """A display with its tag beside it, seen askew; the display's corners."""
    shown = panel(text)
    tag = cv2.resize(tag_picture(ident), (180, 180), interpolation=cv2.INTER_AREA)
    scene = np.full((400, shown.shape[1] + 320), 120, np.uint8)
    scene[100 : 100 + shown.shape[0], 40 : 40 + shown.shape[1]] = shown
    scene[110:290, shown.shape[1] + 90 : shown.shape[1] + 270] = tag
    h, w = shown.shape
    corners = np.array([[40, 100], [40 + w - 1, 100], [40 + w - 1, 100 + h - 1], [40, 100 + h - 1]], float)
    middle = (scene.shape[1] / 2, scene.shape[0] / 2)
    m = np.vstack([cv2.getRotationMatrix2D(middle, turn, 0.9), [1e-5, 4e-5, 1]])
    image = cv2.warpPerspective(scene, m, scene.shape[::-1], borderValue=120)
    return cv2.GaussianBlur(image, (0, 0), 0.7), cv2.perspectiveTransform(corners[None], m)[0]


def test_a_display_is_read_both_ways_of_light():
    for light in (False, True):
        found = read_display(panel("-12.3", light), upright=True)
        assert found.text == "-12.3"
        assert found.light_digits is light
        assert found.value == pytest.approx(-12.3, rel=0, abs=1e-12)


@pytest.mark.parametrize("digit", "0123456789")
def test_every_figure(digit):
    found = read_display(panel(f"{digit}.{digit}"), upright=True)
    assert found.text == f"{digit}.{digit}"
    assert found.confidence > 0.5


def test_upside_down_is_told_by_the_point_and_refused_without_anything_to_tell_it():
    turned = read_display(np.ascontiguousarray(panel("2.5")[::-1, ::-1]))
    assert turned.text == "2.5"
    assert turned.upside_down
    # 85 stands on its head as 58; without a point nothing tells which way up it is
    found = read_display(panel("85"), decimals=0)
    assert found.value is None
    assert "one way up" in found.reason
    assert read_display(panel("85"), upright=True, decimals=0).text == "85"


def test_a_number_without_its_point_is_refused_unless_the_gauge_is_known_to_show_none():
    found = read_display(panel("125"), upright=True)
    assert found.value is None
    assert "no decimal point" in found.reason
    assert read_display(panel("123"), upright=True, decimals=0).text == "123"


def test_what_is_no_figure_gives_no_value():
    image = panel("8.8")
    # paint over the first digit's segment b: lit segments a c d e f g are a 6, so take e as well: no figure
    columns = np.flatnonzero((image < 100).any(axis=0))
    left, right = int(columns[0]), int(columns[-1])
    image[int(0.36 * image.shape[0]) : int(0.46 * image.shape[0]), left : left + (right - left) // 6] = 190
    image[int(0.56 * image.shape[0]) : int(0.66 * image.shape[0]), left : left + (right - left) // 6] = 190
    found = read_display(image, upright=True)
    assert found.text in (None, "3.8")
    assert read_display(np.full((120, 300), 128, np.uint8)).value is None
    assert read_display(panel("777"), upright=True).value is None  # no gauge shows 777 degrees


def test_cut_digit_gives_no_value():
    image = panel("88.8")
    columns = np.flatnonzero((image < 100).any(axis=0))
    assert read_display(np.ascontiguousarray(image[:, columns[0] + 12 :]), upright=True).value is None


def test_decimals_that_contradict_the_picture_give_no_value():
    assert read_display(panel("12.3"), upright=True, decimals=1).text == "12.3"
    assert read_display(panel("12.3"), upright=True, decimals=2).value is None


def test_taught_tag_finds_the_display_in_another_photo(tmp_path):
    first, corners = photo("8.8")
    save_display(tmp_path / "d.json", teach(first, corners, decimals=1))
    taught = load_display(tmp_path / "d.json")
    second, true = photo("-12.6", turn=-11.0)
    tags = find_tags(second)
    placed = display_corners(tags[taught.tag], taught)
    # the second display is wider to the left; its right side stands beside the tag as the first one's did
    assert np.abs(placed[1] - true[1]).max() < 4
    assert np.abs(placed[2] - true[2]).max() < 4
    with pytest.raises(UserError, match="one gauge tag"):
        teach(np.full((300, 300), 120, np.uint8), corners)


@pytest.mark.parametrize("turn", [172.0, -169.0, 90.0])
def test_the_tag_tells_which_way_up_the_display_stands(turn):
    first, corners = photo("8.8")
    taught = teach(first, corners)
    second, _ = photo("9.8", turn=turn)
    if turn == 90.0:  # the scene is wider than high: turned whole, so that nothing is cut
        second = np.ascontiguousarray(np.rot90(photo("9.8")[0]))
    found = read_display(second, display_corners(find_tags(second)[taught.tag], taught))
    # 9.8 on its head would be 8.6, its point above the figures
    assert found.text == "9.8"


def test_commands(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["new", "wing.toml"]) == 0
    from shared.job.file import load_job

    name = load_job(tmp_path / "wing.toml").stations[0].name
    assert run(["gauge", "add", name, "-0.4", "--file", "g.csv"]) == 0
    assert run(["gauge", "add", name, "0.6 nose up", "--file", "g.csv"]) == 0
    assert run(["gauge", "add", "nowhere", "1.0", "--file", "g.csv"]) == 2
    assert run(["gauge", "add", name, "about 1", "--file", "g.csv"]) == 2
    read = load_gauge_readings(tmp_path / "g.csv", [name]).readings
    assert [(r.shown_deg, r.said) for r in read] == [(-0.4, None), (0.6, "nose-up")]
    image, corners = photo("12.3")
    cv2.imwrite("a.png", image)
    spot = ",".join(f"{v:.1f}" for v in corners.ravel())
    assert run(["gauge", "read", "a.png"]) == 2  # a tag that nobody taught
    assert run(["gauge", "teach", "a.png", "--corners", spot, "--decimals", "1"]) == 0
    capsys.readouterr()
    assert run(["gauge", "read", "a.png", "--picture", "seen.png"]) == 0
    assert "12.3 deg" in capsys.readouterr().out
    assert cv2.imread("seen.png") is not None
    cv2.imwrite("blank.png", np.full((120, 300), 128, np.uint8))
    assert run(["gauge", "read", "blank.png"]) == 1
    assert run(["gauge", "read", "a.png", "--corners", "1,2,3"]) == 2
    assert run(["gauge", "tag"]) == 0
    assert find_tags(cv2.copyMakeBorder(cv2.imread("gauge-tag.png", 0), 40, 40, 40, 40, cv2.BORDER_CONSTANT,
                                        value=255)).keys() == {FIRST_TAG}  # fmt: skip
    assert run(["gauge", "check", "wing.toml"]) == 2  # no survey is kept


def test_append_keeps_the_file_s_columns_and_comments(tmp_path):
    path = tmp_path / "g.csv"
    path.write_text("# first day\nRib;Line;Reading [°];Time\nR1;chord;2,2;10:01\n", "utf-8")
    append_reading(path, "R2", "spar", "90,1", "2025-04-03T10:05:00")
    assert path.read_text("utf-8").splitlines()[-1] == "R2;spar;90,1;2025-04-03T10:05:00"
    assert path.read_text("utf-8").startswith("# first day\n")
    path.write_text("station,reading\nR1,2.2\n")
    with pytest.raises(UserError, match="no column for a spar"):
        append_reading(path, "R1", "spar", "90", "")
