"""The picture of an inclinometer's calibration: residuals against the angle, one reading's 2u as a band."""

from __future__ import annotations

import io

from calibration.gauge.fit import GaugeFit


def gauge_png(fit: GaugeFit, dpi: int = 130) -> bytes:
    """PNG bytes: residuals (shown - fitted, degrees) against the true angle, approaches apart."""
    from matplotlib.figure import Figure

    p = fit.profile
    figure = Figure(figsize=(7.5, 4.2), layout="constrained")
    axes = figure.add_subplot()
    band = 2 * fit.u_reading
    axes.axhspan(
        -band,
        band,
        color="0.9",
        label=f"±2u of one reading ({band:.2f})",
    )
    axes.axhline(0, color="0.5", linewidth=0.8)
    for sense, mark, label in (
        (0, "o", "reading"),
        (1, "^", "approached from below"),
        (-1, "v", "from above"),
    ):
        chosen = fit.approach == sense
        if chosen.any():
            axes.plot(fit.angle[chosen], fit.residual[chosen], mark, color="#1f4e79", label=label, markersize=6)
    axes.set_xlabel("angle as the gauge stood, deg")
    axes.set_ylabel("shown − fitted, deg")
    axes.set_title(
        f"{p.ident}, {p.made[:10]}: zero {p.zero_deg:+.3f} (U {2 * p.u_zero_deg:.3f}) deg, "
        f"scale {p.scale:+.4f} (U {2 * p.u_scale:.4f})", fontsize=10, loc="left")  # fmt: skip
    axes.legend(frameon=False, fontsize=8)
    axes.margins(y=0.2)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=dpi)
    return stream.getvalue()
