import io
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from rigging.plots import (
    LineShift,
    Plot,
    agreement_plot,
    budget_plot,
    chord_plot,
    drift_plot,
    mean_budget,
    rib_or_jig_plot,
    shares,
    station_plot,
    symmetry_plot,
    washout_plot,
)
from rigging.plots.canvas import BAND, BLUE, GREEN, GREY, ORANGE, PURPLE
from shared.quantity import Component, Quantity
from tests.contrast import BLIND, apart, contrast, from_hex
from tests.example_survey import example_survey

SVG = "{http://www.w3.org/2000/svg}"


def quantity(value: float, **parts: float) -> Quantity:
    return Quantity(value, tuple(Component(name, name, u) for name, u in parts.items()))


@pytest.fixture(scope="module")
def plots() -> dict[str, Plot]:
    survey = example_survey()
    check = survey.crosscheck
    assert check is not None
    drifts = [
        LineShift(s.station.name, "chord", quantity(0.01 * k, string=0.02)) for k, s in enumerate(survey.stations)
    ]
    made = [
        chord_plot(survey),
        washout_plot(survey),
        rib_or_jig_plot(survey),
        symmetry_plot(survey),
        agreement_plot(check),
        station_plot(check),
        drift_plot(drifts),
        budget_plot(mean_budget([s.chord.quantity for s in survey.stations if s.chord.quantity]), "Budget"),
    ]
    return {p.name: p for p in made if p is not None}


def test_every_plot_is_there(plots: dict[str, Plot]) -> None:
    assert set(plots) == {
        "chord",
        "washout",
        "rib-or-jig",
        "symmetry",
        "agreement",
        "stations",
        "drift",
        "budget",
    }


def test_svg_is_well_formed_named_and_asks_for_nothing(plots: dict[str, Plot]) -> None:
    ids: list[str] = []
    for plot in plots.values():
        text = plot.svg()
        root = ElementTree.fromstring(text)
        assert root.tag == f"{SVG}svg"
        assert root.get("role") == "img"
        assert root.get("aria-label") == plot.alt == root.findtext(f"{SVG}title")
        own = [e.get("id") for e in root.iter() if e.get("id")]
        refs = re.findall(r'(?:href="#|url\(#)([^")]+)', text)
        assert refs
        assert set(refs) <= set(own)
        assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
        ids += [i for i in own if i]
    assert len(ids) == len(set(ids))  # all in one page


def test_outputs_are_the_same_every_time_in_any_order() -> None:
    first, second = chord_plot(example_survey()), chord_plot(example_survey())
    assert first is not None
    assert second is not None
    pdf, svg = first.pdf(), first.svg()
    assert (second.svg(), second.pdf()) == (svg, pdf)
    assert (first.svg(), first.pdf()) == (svg, pdf)


def test_alt_text_carries_the_numbers(plots: dict[str, Plot]) -> None:
    survey = example_survey()
    for s in survey.stations:
        value = s.chord.quantity
        if value is None:
            assert f"{s.station.name} not measured" in plots["chord"].alt
        else:
            assert f"{s.station.name} {value.value:.3f}".replace("-", "−") in plots["chord"].alt
    assert "R5" in plots["rib-or-jig"].alt
    assert "L6 minus R6" in plots["symmetry"].alt


def test_lines_of_the_plots_stand_out_on_paper_and_on_the_band() -> None:
    # W3C WCAG 2.1, 1.4.11: graphical objects 3 to 1; lettering in these colours 4.5 to 1
    for colour in (BLUE, ORANGE, GREEN, PURPLE, GREY):
        assert contrast(from_hex(colour), (255, 255, 255)) >= 4.5
        assert contrast(from_hex(colour), from_hex(BAND)) >= 3.0


def test_wings_differ_by_marker_and_line_style_too(plots: dict[str, Plot]) -> None:
    axes = plots["chord"].figure.axes[0]
    marks = {line.get_marker() for line in axes.get_lines()}
    styles = {line.get_linestyle() for line in axes.get_lines()}
    assert {"o", "s"} <= marks
    assert {"-", "--", ":"} <= styles


def test_points_and_bars_are_the_survey_s_numbers(plots: dict[str, Plot]) -> None:
    survey = example_survey()
    whole, off = plots["chord"].figure.axes
    for axes, name in ((whole, "quantity"), (off, "deviation")):
        shown = {round(float(y), 9) for bars in axes.containers for y in bars.lines[0].get_ydata()}
        wanted = {round(q.value, 9) for s in survey.stations if (q := getattr(s.chord, name)) is not None}
        assert shown == wanted
        reach = sorted(
            round(float(seg[1][1] - seg[0][1]) / 2, 9)
            for bars in axes.containers
            for seg in bars.lines[2][0].get_segments()
        )
        expanded = sorted(round(q.U, 9) for s in survey.stations if (q := getattr(s.chord, name)) is not None)
        assert reach == pytest.approx(expanded, abs=1e-8)


def test_a_missing_station_breaks_the_line_and_is_marked(plots: dict[str, Plot]) -> None:
    whole, off = plots["chord"].figure.axes
    assert any(t.get_text() == "?" for t in off.texts)
    left = next(line for line in whole.get_lines() if line.get_linestyle() == "-" and len(line.get_ydata()) > 4)
    assert any(y != y for y in left.get_ydata())  # NaN between L4 and L6


def test_budget_is_sorted_and_adds_up() -> None:
    # JCGM 100:2008 (GUM), eq. 10: u^2 is the sum of the squares; here 3-4-12-13
    q = quantity(1.0, lens=0.003, tilt=0.012, string=0.004)
    parts = shares(q)
    assert [name for name, _, _ in parts] == ["tilt", "string", "lens"]
    assert [u for _, u, _ in parts] == pytest.approx([0.012, 0.004, 0.003], abs=1e-15)
    assert sum(share for _, _, share in parts) == pytest.approx(1.0, abs=1e-12)
    assert q.u == pytest.approx(0.013, abs=1e-15)
    plot = budget_plot(q.budget(), "x")
    assert plot is not None
    bars = [b.get_width() for b in plot.figure.axes[0].patches]
    assert bars == pytest.approx([0.012, 0.004, 0.003, 0.013], abs=1e-12)


def test_mean_budget_is_root_mean_square() -> None:
    mean = mean_budget([quantity(0, tilt=0.03), quantity(0, tilt=0.04, pen=0.02)])
    assert mean == {"tilt": pytest.approx(0.05 / 2**0.5), "pen": pytest.approx(0.02 / 2**0.5)}


def test_drift_names_only_what_moved_by_more_than_its_u() -> None:
    plot = drift_plot(
        [LineShift("A", "chord", quantity(0.05, x=0.02)), LineShift("B", "chord", quantity(0.03, x=0.02))]
    )
    assert plot is not None
    assert [t.get_text() for t in plot.figure.axes[0].get_xticklabels() if t.get_fontweight() == "bold"] == ["A"]
    assert plot.alt.count("moved") == 1


def test_nothing_to_show_gives_none() -> None:
    assert drift_plot([]) is None
    assert budget_plot({}, "x") is None


def test_png_has_the_size_asked_for_and_leaves_the_plot_as_it_was(plots: dict[str, Plot]) -> None:
    plot = plots["symmetry"]
    before = plot.svg()
    with Image.open(io.BytesIO(plot.png(200))) as picture:
        width, height = plot.size_pt
        assert picture.size == (round(width / 72 * 200), round(height / 72 * 200))
    assert plot.svg() == before


@pytest.mark.parametrize("blindness", sorted(BLIND))
def test_colours_that_meet_differ_for_colour_blind_eyes(blindness: str) -> None:
    np.testing.assert_allclose(np.sum(BLIND[blindness], axis=1), 1.0, rtol=0, atol=2e-6)
    for a, b in ((BLUE, ORANGE), (GREEN, PURPLE)):
        assert apart(from_hex(a), from_hex(b), blindness) > 10
