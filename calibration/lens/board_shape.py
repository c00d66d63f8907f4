"""Is the board flat and square? Its own shape is fitted along with the lens, and judged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.lens.boards import Board
from calibration.lens.bundle import Bundle
from calibration.lens.chessboard import BoardView
from calibration.lens.models import FULL, SHAPES, shape_basis
from calibration.lens.robust import RobustFit, reweighted
from calibration.lens.sightings import shapeable
from shared.errors import UserError
from shared.numerics.arrays import F64

SIGNIFICANT = 4.0
"""A shape counts when it exceeds this many standard uncertainties."""
MATTERS = 2e-4
"""And this share of the board's half length: less moves no corner by a tenth of a pixel."""
BENT = 0.004
STRETCHED = 0.03


@dataclass(frozen=True)
class ShapeVerdict:
    """What was found about the board.

    half_mm : half its longer side. sag_mm, u_sag_mm : largest deviation from flat within it. stretch, skew :
    of its short side against the long one, relative and in radians, with u. kept : the shape is real, and is
    part of the
    fit. checked : False where the views did not allow it (parts of boards).
    """

    checked: bool
    kept: bool
    half_mm: float
    sag_mm: float
    u_sag_mm: float
    stretch: float
    u_stretch: float
    skew: float
    u_skew: float
    fit: Bundle
    notes: tuple[str, ...] = ()


def check_shape(robust: RobustFit, seen: list[BoardView], board: Board, size: tuple[int, int]) -> ShapeVerdict:
    """Fit the board's shape with the full lens model.

    A small real deviation is kept in the fit, so that it does not spoil the lens. Raises UserError for a
    board that is bent, or stretched as no printer does it.
    """
    half = max(float(np.abs(v.board).max()) for v in robust.views)
    nothing = ShapeVerdict(False, False, half, np.nan, np.nan, np.nan, np.nan, np.nan, np.nan, robust.fit)
    if not shapeable(seen, board):
        return nothing
    try:
        result, _ = reweighted(list(robust.views), size, FULL, half)
    except np.linalg.LinAlgError:
        return nothing
    s, u = result.shape, np.sqrt(np.diag(result.shape_covariance))
    sag, u_sag = _sag(result, robust.views[0].board, half)
    real = bool(np.any((np.abs(s) > SIGNIFICANT * u) & (np.abs(s) > MATTERS * half)))
    better = result.sigma < 0.98 * robust.fit.sigma
    notes = []
    if real and better:
        worst = SHAPES[int(np.argmax(np.abs(s) / u))]
        if sag - 2 * u_sag > BENT * half:
            raise UserError(
                "the board is bent",
                f"it sags {sag:.1f} mm over {2 * half:.0f} mm (u {u_sag:.2f} mm), {BENT * half:.1f} mm are allowed",
                "glue it to glass or a flat plate and take the photos anew",
            )
        if max(abs(s[0]), abs(s[1])) / half > STRETCHED:
            raise UserError(
                "the board's squares are not square",
                f"off by {100 * max(abs(s[0]), abs(s[1])) / half:.1f} % of their side",
                "print it anew at true scale, or give the right board",
            )
        if sag > SIGNIFICANT * u_sag and sag > MATTERS * half:
            notes.append(f"the board is not quite flat (sag {sag:.3f} mm, u {u_sag:.3f} mm): taken into account")
        if abs(s[0]) > SIGNIFICANT * u[0]:
            notes.append(
                f"the print is stretched {100 * s[0] / half:+.2f} % along its short side against "
                f"the long one: "
                "taken into account"
            )
        if abs(s[1]) > SIGNIFICANT * u[1]:
            notes.append(
                f"the print's corners are off a right angle by {np.degrees(s[1] / half):+.2f} deg: taken into account"
            )
        notes = notes or [f"the board's shape ({worst}) was taken into account"]
    return ShapeVerdict(
        True,
        real and better,
        half,
        sag,
        u_sag,
        float(s[0] / half),
        float(u[0] / half),
        float(s[1] / half),
        float(u[1] / half),
        result,
        tuple(notes),
    )


def _sag(result: Bundle, board: F64, half: float) -> tuple[float, float]:
    """Largest distance of the board's corners from their mean plane, and its u, mm."""
    rows = shape_basis(board, half)[:, 2, :]
    flat = np.column_stack([board, np.ones(len(board))])
    rows = rows - flat @ np.linalg.lstsq(flat, rows, rcond=None)[0]
    z = rows @ result.shape
    k = int(np.argmax(np.abs(z)))
    return float(abs(z[k])), float(np.sqrt(rows[k] @ result.shape_covariance @ rows[k]))
