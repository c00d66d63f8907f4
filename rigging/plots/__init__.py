"""Pictures of a survey. Each function returns a `Plot` with its alt text, or None with nothing to show."""

from rigging.plots.budget import budget_plot, largest, mean_budget, shares
from rigging.plots.canvas import Plot
from rigging.plots.crosscheck import agreement_plot, station_plot
from rigging.plots.drift import LineShift, drift_plot
from rigging.plots.span import chord_plot, rib_or_jig_plot, washout_plot
from rigging.plots.symmetry import symmetry_plot

__all__ = [
    "LineShift",
    "Plot",
    "agreement_plot",
    "budget_plot",
    "chord_plot",
    "drift_plot",
    "largest",
    "mean_budget",
    "rib_or_jig_plot",
    "shares",
    "station_plot",
    "symmetry_plot",
    "washout_plot",
]
