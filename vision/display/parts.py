"""Tells which of what stands in a row's strip are digits."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.display.row import OVER, TALL, Part, Row
from vision.display.types import F32


def stands_on_ground(row: Row, flat: F32, mask: NDArray[np.bool_], digits: list[Part]) -> bool:
    """Whether above and below the digits the picture looks as it does between their strokes.

    Seen with light and dark exchanged, the holes in digits pass for strokes; but the ground round them does too.
    """
    seen = cv2.warpAffine(flat, row.to_window, mask.shape[::-1], flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                          borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    for_it, votes = 0.0, 0
    for p in digits:
        columns = slice(p.left, p.right)
        drawn = mask[:, columns]
        soft = cv2.dilate(drawn.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
        # light falls unevenly: the ground over the digits is held against their upper half, that under to the lower
        for body, beside in ((slice(OVER, OVER + TALL // 2), slice(OVER - 16, OVER - 7)),
                             (slice(OVER + TALL // 2, OVER + TALL), slice(OVER + TALL + 7, OVER + TALL + 16))):  # fmt: skip
            part, on, near = seen[body, columns], drawn[body], soft[body]
            if not on.any() or near.all():
                continue
            lit, unlit = float(np.median(part[on])), float(np.median(part[~near]))
            ground = float(np.median(seen[beside, columns]))
            if lit != unlit:
                vote = (abs(ground - lit) - abs(ground - unlit)) / abs(lit - unlit)
                for_it += float(np.clip(vote, -1, 1))
                votes += 1
    return for_it > 0.15 * votes


def split_wide(found: list[Part], mask: NDArray[np.bool_]) -> list[Part]:
    """Parts far wider than a digit are cut where a column holds almost no ink."""
    out: list[Part] = []
    for p in found:
        if p.width <= 0.74 * max(p.height, 0.98 * TALL):
            out.append(p)
            continue
        columns = mask[OVER - 3 : OVER + int(0.77 * TALL), p.left : p.right].sum(axis=0)
        clear = columns <= 3
        edges = np.flatnonzero(np.diff(np.concatenate([[0], (~clear).astype(np.int8), [0]])))
        for a, b in zip(edges[::2], edges[1::2], strict=True):
            rows = np.flatnonzero(
                mask[OVER - 12 : OVER + TALL + 12, p.left + a : p.left + b].sum(axis=1) >= min(4, b - a)
            )
            if b - a >= 4 and len(rows):
                out.append(Part(int(p.left + a), int(p.left + b), int(rows[0]) + OVER - 12, int(rows[-1]) + OVER - 11))
    return out


def is_digit(p: Part) -> bool:
    """From top to foot; a 1 of blunt segments falls short of both alike."""
    top, foot = (p.top - OVER) / TALL, (p.bottom - OVER) / TALL
    blunt_one = top <= 0.3 and 0.7 <= foot < 0.92 and p.width < 0.3 * TALL
    return (top <= 0.2 and foot >= 0.8) or blunt_one


def with_small(tall: list[Part], everything: list[Part]) -> list[Part]:
    """The tall parts and, right of them, smaller digits standing on the same foot."""
    foot = float(np.median([p.bottom for p in tall]))
    last = max(p.right for p in tall)
    small = [p for p in everything if p.left >= last and 0.5 * TALL <= p.height < 0.8 * TALL
             and abs(p.bottom - foot) < 0.09 * TALL and p.width < 0.85 * p.height and p.left - last < 0.8 * TALL]  # fmt: skip
    return sorted([*tall, *small[:1]], key=lambda p: p.left)
