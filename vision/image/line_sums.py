"""Sums along all nearly horizontal straight lines of a map, in n log n: long weak lines beat short strong ones.

The dyadic approximation of straight lines (Brady 1998, "A fast discrete approximation algorithm for the
Radon transform"; Götz and Druckmüller 1996): a line across 2 m columns is two lines across m columns.
"""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F32


def line_sums(strength: F32, rise_limit: float) -> tuple[F32, F32]:
    """Sums over the whole width, for lines that rise (rows, downwards) from the first to the last column.

    Parameters
    ----------
    strength : (h, w) map; padded with zeros to a power of two in width. rise_limit : largest |rise| / width.

    Returns
    -------
    sums : (2 s + 1, h) total along the line that starts in row i at column 0 and ends in row i + rises[k]
        at the last column of the padded width. rises : (2 s + 1,) rows.
    """
    h, w = strength.shape
    width = 1 << max(1, (w - 1).bit_length())
    most = max(1, int(rise_limit * width))
    base = np.zeros((width, h), dtype=np.float32)
    base[:w] = strength.T
    # a line that has left the map does not come back: no rows are needed beyond it
    down = _half(base, most)
    up = _half(np.ascontiguousarray(base[:, ::-1]), most)[:, ::-1]
    sums = np.concatenate([up[:0:-1], down])
    rises = np.arange(-(len(up) - 1), len(down), dtype=np.float32)
    return np.ascontiguousarray(sums), rises


def _half(columns: F32, most: int) -> F32:
    """(slopes, rows) sums for rises 0 to `most` rows over all columns; (width, rows) in."""
    width, rows = columns.shape
    level = columns[:, None, :]
    span = 1
    while level.shape[0] > 1:
        span *= 2
        slopes = min(span - 1, int(np.ceil(most * span / width)) + 1) + 1
        left, right = level[0::2], level[1::2]
        out = np.empty((left.shape[0], slopes, rows), dtype=np.float32)
        # of a line that rises by s rows each half rises by s // 2, and the right one starts (s + 1) // 2 rows below
        if slopes < left.shape[0]:
            for s in range(slopes):
                kept = max(rows - (s + 1) // 2, 0)
                np.add(left[:, s // 2, :kept], right[:, s // 2, rows - kept :], out=out[:, s, :kept])
                out[:, s, kept:] = left[:, s // 2, kept:]
        else:  # many slopes of few pieces: all even ones at once, and all odd ones
            below = np.zeros((*right.shape[:2], rows + slopes // 2), dtype=np.float32)
            below[:, :, :rows] = right
            for odd in (0, 1):
                rising = out[:, odd::2]
                np.add(left[:, : rising.shape[1]], _ever_lower(below, rising.shape, odd), out=rising)
        level = out
    return np.ascontiguousarray(level[0, : most + 1])


def _ever_lower(values: F32, shape: tuple[int, ...], start: int) -> F32:
    """View (n, m, rows) of values (n, m or more, rows + start + m - 1 or more): of the k-th of m from row start + k on."""
    block, line, row = values.strides
    return np.lib.stride_tricks.as_strided(values[:, :, start:], shape, (block, line + row, row), writeable=False)
