"""The picture of a lens calibration: where the boards were, what is left over, and what it is worth."""

from __future__ import annotations

import io

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from calibration.lens.calibrate import LensCalibration
from calibration.lens.coverage import COLUMNS, ROWS
from calibration.lens.model import distort
from calibration.lens.projection import by_theta
from shared.numerics.arrays import F64

INK, ACCENT, PALE, WARN = "#20303c", "#0b6fa4", "#9fb4c2", "#b3471d"


def lens_picture(result: LensCalibration) -> bytes:
    """PNG with six panels."""
    p = result.profile
    with matplotlib.rc_context(
        {
            "font.size": 9,
            "axes.edgecolor": INK,
            "axes.titleweight": "bold",
            "axes.titlesize": 10,
            "axes.titlelocation": "left",
        }
    ):
        figure = Figure(figsize=(14, 9.2), layout="constrained", facecolor="white")
        panels = figure.subplots(2, 3)
        _coverage(panels[0, 0], result)
        _arrows(panels[0, 1], result)
        _cloud(panels[0, 2], result)
        _photos(panels[1, 0], result)
        _models(panels[1, 1], result)
        _distortion(panels[1, 2], result)
        f, u = p.theta[0], float(np.sqrt(p.covariance[0][0]))
        figure.suptitle(
            f"Lens of {p.camera}, {p.width} x {p.height}: focal length {f:.1f} px (u {u:.2f} "
            f"px), residual "
            f"{p.rms_px:.3f} px, held out {p.held_out_px:.3f} px",
            fontsize=12,
            color=INK,
        )
        if p.notes:
            figure.supxlabel("\n".join(p.notes), fontsize=9, color=WARN)
        stream = io.BytesIO()
        figure.savefig(stream, format="png", dpi=110)
    return stream.getvalue()


def _frame(axes: Axes, result: LensCalibration) -> None:
    p = result.profile
    axes.set_xlim(-0.5, p.width - 0.5)
    axes.set_ylim(p.height - 0.5, -0.5)
    axes.set_aspect("equal")
    axes.set_xlabel("px")


def _coverage(axes: Axes, result: LensCalibration) -> None:
    p, counts = result.profile, result.coverage.counts
    wide, high = p.width / COLUMNS, p.height / ROWS
    top = max(1, int(counts.max()))
    for j in range(ROWS):
        for i in range(COLUMNS):
            k = int(counts[j, i])
            colour = "#f4e3da" if k == 0 else matplotlib.colormaps["Blues"](0.15 + 0.6 * k / top)
            axes.add_patch(
                Rectangle(
                    (i * wide - 0.5, j * high - 0.5),
                    wide,
                    high,
                    facecolor=colour,
                    edgecolor="white",
                    linewidth=0.6,
                )
            )
    for v in result.views:
        axes.plot(*v.pixels[v.weight > 0].T, ".", ms=2, color=INK, alpha=0.7)
    axes.plot(*result.fit.theta[2:4], "+", ms=12, mew=1.5, color=WARN)
    axes.set_title(f"Boards over the picture: {100 * result.coverage.share:.0f} % covered")
    _frame(axes, result)


def _arrows(axes: Axes, result: LensCalibration) -> None:
    good = [(v.pixels[v.weight > 0], e[v.weight > 0]) for v, e in zip(result.views, result.fit.residuals, strict=True)]
    places, errors = np.concatenate([a for a, _ in good]), np.concatenate([b for _, b in good])
    gain = 0.03 * result.profile.width / max(result.profile.rms_px or 0.0, 1e-9)
    axes.quiver(*places.T, *errors.T, angles="xy", scale_units="xy", scale=1 / gain, width=0.0022, color=ACCENT)
    for v in result.views:
        if np.any(v.weight == 0):
            axes.plot(*v.pixels[v.weight == 0].T, "x", color=WARN, ms=6)
    axes.set_title(f"What is left over, {_times(gain)} times enlarged")
    _frame(axes, result)


def _times(gain: float) -> str:
    digits = 10 ** (int(np.floor(np.log10(gain))) - 1)
    return f"{round(gain / digits) * digits:.0f}"


def _cloud(axes: Axes, result: LensCalibration) -> None:
    errors = np.concatenate([e[v.weight > 0] for v, e in zip(result.views, result.fit.residuals, strict=True)])
    s = result.fit.sigma
    axes.plot(*errors.T, ".", ms=3, color=ACCENT, alpha=0.5)
    turn = np.linspace(0, 2 * np.pi, 100)
    axes.plot(2 * s * np.cos(turn), 2 * s * np.sin(turn), color=INK, lw=1)
    axes.text(0, -2 * s, "2 sigma", color=INK, va="bottom", ha="center")
    lim = 1.1 * float(np.abs(errors).max())
    axes.set_xlim(-lim, lim)
    axes.set_ylim(lim, -lim)
    axes.set_aspect("equal")
    axes.set_xlabel("residual across, px")
    axes.set_ylabel("residual down, px")
    axes.set_title(f"Corners: sigma {s:.3f} px each way")


def _photos(axes: Axes, result: LensCalibration) -> None:
    uses = result.profile.photos
    top = max((u.rms_px or 0) for u in uses) * 1.15
    for k, u in enumerate(uses):
        if u.used and u.rms_px is not None:
            axes.barh(k, u.rms_px, color=ACCENT, height=0.7)
        else:
            axes.text(0.01 * top, k, (u.reason or "")[:60], color=WARN, va="center", fontsize=7)
    axes.set_yticks(range(len(uses)), [u.name[-22:] for u in uses], fontsize=7)
    axes.invert_yaxis()
    axes.set_xlim(0, top)
    axes.set_xlabel("residual, px (rms)")
    axes.set_title(f"Photos: {sum(u.used for u in uses)} of {len(uses)} used")


def _models(axes: Axes, result: LensCalibration) -> None:
    held = result.choice.held_out
    names = list(held)
    for k, name in enumerate(names):
        axes.plot(held[name], k, "o", color=WARN if name == result.choice.model else ACCENT)
        axes.text(held[name], k - 0.18, f"{held[name]:.4g}", ha="center", va="bottom", fontsize=8)
    axes.set_yticks(range(len(names)), [n.replace("k1, k2, p1, p2", "k1, k2,\np1, p2") for n in names], fontsize=8)
    axes.set_ylim(len(names) - 0.5, -0.7)
    axes.set_xscale("log")
    low, high = min(held.values()), max(held.values())
    axes.set_xlim(low / 1.5, high * 1.5)
    axes.minorticks_off()
    axes.set_xticks(
        [low, high] if high > 1.3 * low else [low],
        [f"{low:.3g}", f"{high:.3g}"][: 2 if high > 1.3 * low else 1],
    )
    axes.set_xlabel("error on photos left out, px")
    axes.set_title("Free parameters, and the one taken")


def _distortion(axes: Axes, result: LensCalibration) -> None:
    theta, size = result.fit.theta, result.profile.size
    far = float(np.hypot(max(theta[2], size[0] - theta[2]), max(theta[3], size[1] - theta[3])))
    r = np.linspace(0, far / theta[0], 200)
    shift, u = radial_shift(theta, result.fit.covariance, r)
    x = r * theta[0]
    axes.axhline(0, color=PALE, lw=0.8)
    axes.fill_between(x, shift - 2 * u, shift + 2 * u, color=ACCENT, alpha=0.3, lw=0)
    axes.plot(x, shift, color=ACCENT)
    axes.axvline(result.coverage.reach_px, color=WARN, lw=1, ls="--")
    axes.text(
        result.coverage.reach_px,
        axes.get_ylim()[0],
        " furthest corner",
        color=WARN,
        rotation=90,
        va="bottom",
        ha="right",
        fontsize=8,
    )
    axes.set_xlabel("from the principal point, px (without distortion)")
    axes.set_ylabel("moved outwards, px")
    axes.set_title("Radial distortion, with U = 2u")


def radial_shift(theta: F64, covariance: F64, r: F64) -> tuple[F64, F64]:
    """How far radial distortion moves a point outwards, and its u, pixels, at ray radii r (n,).

    The u is that of the distortion terms alone, with the focal length fixed.
    """
    bare = theta.copy()
    bare[6:8] = 0
    rays = np.stack([r, np.zeros_like(r)], axis=1)
    pixels = distort(rays, bare)[:, 0] - bare[2]
    jacobian = by_theta(bare, r, np.zeros_like(r))[:, 0, [4, 5, 8]]
    part = covariance[np.ix_([4, 5, 8], [4, 5, 8])]
    u = np.sqrt(np.maximum(np.einsum("ni,ij,nj->n", jacobian, part, jacobian), 0))
    return pixels - theta[0] * r, u
