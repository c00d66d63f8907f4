"""Angles along the span: chord angle and washout against design, and what is rib and what is jig."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from rigging.plots.canvas import (
    BAND,
    BLUE,
    GREEN,
    GREY,
    ORANGE,
    PURPLE,
    Plot,
    look,
    name_ticks,
    new_figure,
    short,
    tidy_degrees,
    width_for,
)
from rigging.survey.model import StationResult, Survey
from shared.lengths import INCH_MM, Units
from shared.quantity import Quantity
from shared.rounding import degrees, number

SIDES = {
    "left": ("left wing", BLUE, "o", "-"),
    "right": ("right wing", ORANGE, "s", "--"),
    "centre": ("centre", GREY, "D", ":"),
}


@dataclass(frozen=True)
class _Spot:
    """One station's point: where, what, against what."""

    result: StationResult
    value: Quantity
    design: float
    tolerance: float
    off: Quantity
    wrong: bool


def chord_plot(survey: Survey) -> Plot | None:
    """Chord angle at every station of both wings against design; None when nothing was measured."""
    spots = [
        _Spot(
            s,
            s.chord.quantity,
            s.chord.design_deg,
            s.chord.tolerance_deg,
            s.chord.deviation,
            s.chord.decision is not None and s.chord.decision.outcome == "nonconforming",
        )
        for s in survey.stations
        if s.chord.quantity is not None
        and s.chord.design_deg is not None
        and s.chord.tolerance_deg is not None
        and s.chord.deviation is not None
    ]
    return _along_span("chord", "Chord angle along the span", "chord angle", spots, survey)


def washout_plot(survey: Survey) -> Plot | None:
    """Washout at every station of both wings against design; None when nothing was measured."""
    spots = [
        _Spot(
            s,
            s.washout.quantity,
            s.washout.design_deg,
            s.washout.decision.tolerance_deg,
            s.washout.deviation,
            s.washout.decision.outcome == "nonconforming",
        )
        for s in survey.stations
        if s.washout is not None
    ]
    return _along_span("washout", "Washout along the span", "washout", spots, survey)


def rib_or_jig_plot(survey: Survey) -> Plot | None:
    """Each station's deviation split into jig (lean of the spar line) and rib (built-in angle)."""
    split = [
        (s, jig, rib)
        for s in survey.stations
        if (jig := s.rib_or_jig.jig) is not None and (rib := s.rib_or_jig.rib) is not None
    ]
    if not split:
        return None
    with look():
        figure, (axes,) = new_figure(height=3.3, width=width_for(len(split)))
        at = np.arange(len(split), dtype=float)
        for values, name, colour, marker, shift in (
            ([jig for _, jig, _ in split], "jig: spar line's lean off design", GREEN, "^", -0.14),
            ([rib for _, _, rib in split], "rib: built-in angle off design", PURPLE, "D", 0.14),
        ):
            axes.errorbar(
                at + shift,
                [q.value for q in values],
                [q.U for q in values],
                fmt=marker,
                color=colour,
                label=name,
                mfc="white" if marker == "D" else colour,
            )
        axes.axhline(0, color=GREY, lw=0.8)
        band = [row[0].spar.tolerance_deg or row[0].chord.tolerance_deg or 0.0 for row in split]
        edges = np.concatenate([[-0.5], at + 0.5])
        reach = np.array([*band, band[-1]])
        axes.fill_between(edges, -reach, reach, step="post", color=BAND, lw=0)
        name_ticks(axes, [row[0].station.name for row in split])
        axes.set_ylabel("off design")
        tidy_degrees(axes)
        _legend(axes)
    words = "; ".join(f"{s.station.name}: jig {degrees(j, True)}, rib {degrees(r, True)}" for s, j, r in split)
    return Plot(
        "rib-or-jig", "What is jig and what is rib", f"Deviation split in two at each station. {words}.", figure
    )


def _along_span(name: str, title: str, what: str, spots: Sequence[_Spot], survey: Survey) -> Plot | None:
    if not spots:
        return None
    with look():
        figure, (whole, off) = new_figure(2, height=5.0, ratios=(1.25, 1.0), share_x=True)
        for side, (label, colour, marker, style) in SIDES.items():
            own = sorted((s for s in spots if s.result.station.side == side), key=_span)
            missing = sorted(
                _metres(r) for r in survey.stations if r.station.side == side and r.state == "not measured"
            )
            shift = -0.012 if side == "left" else 0.012
            if own:
                _series(whole, off, own, missing, label, (colour, marker, style), shift)
            for x in missing:
                off.annotate("?", (x + shift, 0), ha="center", va="center", color=colour, weight="bold", fontsize=13)
        for axes in (whole, off):
            tidy_degrees(axes)
        whole.set_ylabel(what)
        off.set_ylabel("off design")
        off.axhline(0, color=GREY, lw=0.8)
        _station_axis(off, spots, survey.job.length_unit)
        handles, labels = whole.get_legend_handles_labels()
        order = [k for k, each in enumerate(labels) if each not in labels[:k]]
        figure.legend(
            [handles[k] for k in order], [labels[k] for k in order], ncols=4, loc="outside lower center", fontsize=9
        )
    words = "; ".join(
        f"{s.result.station.name} {degrees(s.value)}, {degrees(s.off, True)} off design"
        f"{', outside tolerance' if s.wrong else ''}"
        for s in spots
    )
    words += "".join(f"; {r.station.name} not measured" for r in survey.stations if r.state == "not measured")
    return Plot(name, title, f"{title}, both wings against design with tolerance band. {words}.", figure)


def _series(
    whole: Axes,
    off: Axes,
    own: Sequence[_Spot],
    missing: Sequence[float],
    label: str,
    look_: tuple[str, str, str],
    shift: float,
) -> None:
    """One wing in both panels: design with its band, values with their error bars, names of the wrong ones.

    The line between the points is broken where a station in between is not measured.
    """
    colour, marker, style = look_
    x = np.array([_span(s) for s in own])
    design = np.array([s.design for s in own])
    tolerance = np.array([s.tolerance for s in own])
    shift *= max(float(x.max()), 0.5)
    whole.fill_between(x, design - tolerance, design + tolerance, color=BAND, lw=0, label="tolerance")
    off.fill_between(x, -tolerance, tolerance, color=BAND, lw=0)
    whole.plot(x, design, color=GREY, lw=1.0, ls=":", label="design")
    gaps = [k for k in range(1, len(x)) if any(x[k - 1] < m < x[k] for m in missing)]
    for axes, values in ((whole, [s.value for s in own]), (off, [s.off for s in own])):
        y = [q.value for q in values]
        axes.errorbar(
            x + shift,
            y,
            [q.U for q in values],
            color=colour,
            marker=marker,
            ls="none",
            mfc="white" if marker == "s" else colour,
            label=label,
        )
        axes.plot(np.insert(x + shift, gaps, np.nan), np.insert(y, gaps, np.nan), color=colour, ls=style, lw=1.0)
    for spot, at in zip(own, x + shift, strict=True):
        if spot.wrong:
            up = spot.off.value > 0
            tip = spot.off.value + (1 if up else -1) * spot.off.U
            off.annotate(
                short(spot.result.station.name),
                (at, tip),
                (0, 5 if up else -5),
                textcoords="offset points",
                ha="center",
                va="bottom" if up else "top",
                color=colour,
                weight="bold",
                fontsize=9,
            )
    off.margins(y=0.18)


def _station_axis(axes: Axes, spots: Sequence[_Spot], units: Units) -> None:
    """Ticks at the stations: their names over the distance from the root."""
    names: dict[float, list[str]] = {}
    for spot in spots:
        names.setdefault(round(_span(spot), 3), []).append(spot.result.station.name)
    at = sorted(names)
    every = 1 + (len(at) - 1) // 24
    places = [number(x, 2) if units == "mm" else number(1000 * x / INCH_MM, 1) for x in at]
    shown = ["" if k % every else "\n".join([*map(short, sorted(names[x])), places[k]]) for k, x in enumerate(at)]
    axes.set_xticks(at, shown, fontsize=min(8.5, max(5.0, 110.0 / len(at))))
    axes.set_xlabel(f"station, and {'metres' if units == 'mm' else 'inches'} from the centre line")


def _span(spot: _Spot) -> float:
    return _metres(spot.result)


def _metres(result: StationResult) -> float:
    return abs(result.station.span_mm) / 1000.0


def _legend(axes: Axes) -> None:
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.1), ncols=2, fontsize=9)
