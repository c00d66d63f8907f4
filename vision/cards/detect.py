"""Station cards in a photo: found, named, and their corners refined to a few hundredths of a pixel.

Looks coarse, decodes only where the picture is busy, black and white. Corners are predicted from the
markers and then refined as saddle points inside the white margin round the markers (`vision.saddles`).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

import cv2
import numpy as np

from shared.numerics import saddles
from shared.numerics.arrays import F32, F64, U8
from vision.cards.edges import Edges, find_edges
from vision.cards.markers import find_markers
from vision.cards.spec import IDS_PER_CARD, LAST_CARD, SPECS, CardSpec
from vision.image.pixels import halved

MIN_MARKERS = 3
"""Fewer decoded markers than this do not name a card. By judgement: two wrong decodes could stand in one card's layout
by chance, three do not."""
CORNER_FLOOR_PX = 0.035
"""What paper, print and lens leave in a corner beyond the fit's own noise. By judgement."""
FIT_SHARE = 0.3
"""Share of the saddle fit's residuals that can move a corner: most of them is the flanks' shape, which is even. By
judgement; what it leaves of the pulls is measured in `docs/validation.md`."""
LEAST_SIDE_PX, LEAST_AREA = 40, 4000
"""Side and area, pixels, of a busy place in which a card could be: the smallest card that the gate on scale lets pass
is 40 pixels high."""
LEAST_SWINGS = 4.0
"""Changes between bright and dark along a row: a card's squares and
markers give four or more, an edge or a pole one or two."""
FEWEST_CORNERS, FEWEST_AGREEING = 6, 8
"""Corners that must be found on a card, and that must still agree when the odd ones are dropped: a homography takes
four. By judgement."""
LEAST_STRENGTH = 0.5
"""Least contrast of a corner over the median of all: less is a corner half covered. By judgement."""
MISFIT, MISFIT_TIMES = 0.25, 3.0
"""Residual of a corner's fit over its contrast, and in medians of all, beyond which something crosses it. By
judgement."""
OFF_PX, OFF_TIMES = 0.25, 3.5
"""Distance of a corner from the others' homography, and in medians of all, beyond which it is dropped: a string that
crosses it pulls it by 1 to 2 pixels, noise alone by 0.1."""


@dataclass(frozen=True)
class Card:
    """One card as seen.

    board : (n, 2) used corners, mm in the board frame. pixels : (n, 2) where they are seen.
    sigma_px : (n,) standard deviation of each coordinate. rejected : (m, 2) pixels of corners set aside.
    homography : (3, 3) board mm to pixels, approximate. px_per_mm : scale. blur_px : median flank width.
    """

    spec: CardSpec
    number: int
    board: F64
    pixels: F64
    sigma_px: F64
    rejected: F64
    homography: F64
    px_per_mm: float
    blur_px: float
    contrast: float
    edges: Edges = field(default_factory=Edges)

    def at(self, points_mm: F64) -> F64:
        """Approximate pixels (n, 2) of board points (n, 2).

        points_mm : board frame, mm, through the homography of the card's corners (straight lines stay straight: the
        lens is left out).
        """
        return apply(self.homography, points_mm)


def apply(h: F64, points: F64) -> F64:
    """(n, 2) points through a (3, 3) homography.

    h : maps (x, y, 1) up to a factor. points : in the frame that it maps from.
    """
    q = np.c_[points, np.ones(len(points))] @ h.T
    return np.asarray(q[:, :2] / q[:, 2:], dtype=np.float64)


def find_cards(gray: U8, half: U8 | None = None) -> list[Card]:
    """All station cards in the picture, by number. A card seen twice under one number is left to the caller.

    half : the picture at half its size, where it is at hand.

    gray : (h, w) upright picture. Corners are refined saddle points, pixels (`shared.numerics.saddles`).

    >>> from vision.image.photo import open_photo
    >>> picture = open_photo("samples/trainer/photos/L1.jpg")
    >>> [(card.number, card.spec.kind.value, round(card.px_per_mm, 1)) for card in find_cards(picture.gray)]
    [(7, 'panel', 2.0)]
    """
    markers = _markers(gray, halved(gray) if half is None else half)
    groups: dict[int, list[tuple[int, F64]]] = defaultdict(list)
    for ident, corners in markers:
        number, index = divmod(ident, IDS_PER_CARD)
        if number <= LAST_CARD and index < max(s.markers for s in SPECS.values()):
            groups[number].append((index, corners))
    cards = []
    for number in sorted(groups):
        rest = groups[number]
        # the same number may be printed twice (a poster, a copy): take the fits one after the other
        while len(rest) >= MIN_MARKERS:
            found = _name_card(rest)
            if found is None:
                break
            spec, h, used = found
            card = _refine(gray, spec, number, h)
            if card is not None:
                cards.append(card)
            ring = apply(h, spec.outline()).astype(np.float32)
            rest = [m for k, m in enumerate(rest) if k not in used and not _inside(ring, m[1])]
    return cards


def _inside(ring: F32, corners: F64) -> bool:
    """Whether a marker's middle lies on a card already found: a poor decode of one of its own."""
    x, y = corners.mean(0)
    return bool(cv2.pointPolygonTest(ring, (float(x), float(y)), False) >= 0)


def _markers(gray: U8, half: U8) -> list[tuple[int, F64]]:
    found: list[tuple[int, F64]] = []
    for x0, y0, x1, y1 in _busy_places(gray, half):
        found += _decode(gray[y0:y1, x0:x1], (x0, y0))
    if not found:
        found = _decode(gray, (0, 0))
    kept: list[tuple[int, F64]] = []
    for ident, corners in found:  # overlapping boxes show a marker twice
        side = float(np.linalg.norm(corners[0] - corners[2]))
        if not any(i == ident and np.linalg.norm((c - corners).mean(0)) < 0.3 * side for i, c in kept):
            kept.append((ident, corners))
    return kept


def _busy_places(gray: U8, half: U8) -> list[tuple[int, int, int, int]]:
    """Boxes (x0, y0, x1, y1) round the places that are both bright and dark within a few millimetres."""
    h, w = gray.shape
    shrink = 4
    small = halved(half)
    box = (9, 9)
    bright = cv2.dilate(small, np.ones(box, np.uint8))
    dark = cv2.erode(small, np.ones(box, np.uint8))
    spread = cv2.blur(cv2.subtract(bright, dark), (15, 15))
    level = max(45.0, 0.45 * float(np.percentile(spread[::4, ::4], 99.7)))
    mask = (spread > level).astype(np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(cv2.dilate(mask, np.ones((7, 7), np.uint8)), ltype=cv2.CV_16U)
    boxes = []
    for k in sorted(range(1, count), key=lambda i: -stats[i][4])[:12]:
        x, y, bw, bh, area = (int(v) for v in stats[k])
        if min(bw, bh) * shrink < LEAST_SIDE_PX or area * shrink**2 < LEAST_AREA:
            continue
        if _swings(small[y : y + bh, x : x + bw]) < LEAST_SWINGS:
            continue
        pad = 6
        boxes.append(
            (
                max(0, (x - pad) * shrink),
                max(0, (y - pad) * shrink),
                min(w, (x + bw + pad) * shrink),
                min(h, (y + bh + pad) * shrink),
            )
        )
    return boxes


def _swings(part: U8) -> float:
    """How often the picture swings between bright and dark along its rows and columns: the lesser of the two,
    best four rows (columns) in ten. A board swings everywhere, an edge or a pole once or twice."""
    level, _ = cv2.threshold(part, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    up = part > level
    rows = np.sort((up[:, 1:] != up[:, :-1]).sum(1))[-max(1, int(0.4 * up.shape[0])) :]
    cols = np.sort((up[1:] != up[:-1]).sum(0))[-max(1, int(0.4 * up.shape[1])) :]
    return float(min(rows.mean(), cols.mean()))


def _decode(part: U8, origin: tuple[int, int]) -> list[tuple[int, F64]]:
    shift = np.asarray(origin, dtype=np.float64)
    return [(number, corners + shift) for number, corners in find_markers(part)]


def _name_card(markers: list[tuple[int, F64]]) -> tuple[CardSpec, F64, set[int]] | None:
    """Which kind of card these markers belong to: the layout they fit. None when neither fits.

    A layout that fits them all at once needs no search for the odd ones.
    """
    fits = [fit for spec in SPECS.values() if (fit := _fit_layout(spec, markers, 0)) is not None]
    whole = [fit for fit in fits if fit[0] == len(markers)]
    if not whole:
        fits = [fit for spec in SPECS.values() if (fit := _fit_layout(spec, markers, cv2.RANSAC)) is not None]
    best = max(whole or fits, key=lambda fit: fit[:2], default=None)
    return None if best is None else best[2:]


def _fit_layout(
    spec: CardSpec, markers: list[tuple[int, F64]], method: int
) -> tuple[int, float, CardSpec, F64, set[int]] | None:
    """A card's layout laid over markers: how many fit, minus their mean error, card, homography, which fit."""
    own = [(k, i, c) for k, (i, c) in enumerate(markers) if i < spec.markers]
    if len(own) < MIN_MARKERS:
        return None
    layout = spec.marker_corners()
    src = np.concatenate([layout[i] for _, i, _ in own])
    dst = np.concatenate([c for _, _, c in own])
    scale = float(np.median([np.linalg.norm(c[0] - c[1]) for _, _, c in own])) / spec.marker_mm
    h, _ = cv2.findHomography(src, dst, method, max(1.5, 0.6 * scale))
    if h is None:
        return None
    off = np.linalg.norm(apply(np.asarray(h, dtype=np.float64), src) - dst, axis=1).reshape(-1, 4).max(axis=1)
    good = off < max(2.5, 1.0 * scale)
    if good.sum() < MIN_MARKERS:
        return None
    used = {k for (k, _, _), g in zip(own, good, strict=True) if g}
    return int(good.sum()), -float(off[good].mean()), spec, np.asarray(h, dtype=np.float64), used


def _refine(gray: U8, spec: CardSpec, number: int, h: F64) -> Card | None:
    board = spec.inner_corners()
    start = apply(h, board)
    ex = apply(h, board + [1.0, 0.0]) - start
    ey = apply(h, board + [0.0, 1.0]) - start
    scale = np.minimum(np.linalg.norm(ex, axis=1), np.linalg.norm(ey, axis=1))
    half = np.clip(0.92 * spec.margin_mm * scale, 2.0, 9.0)
    unit = [e / np.linalg.norm(e, axis=1, keepdims=True) for e in (ex, ey)]
    seen = saddles.refine(gray, start, unit[0], unit[1], half)
    strength = np.abs(seen.contrast)
    sense = np.where((np.add.outer(np.arange(1, spec.rows), np.arange(1, spec.columns)) % 2).ravel() == 0, 1, -1)
    signed = seen.contrast * sense
    ok = np.isfinite(seen.sigma_px)
    if ok.sum() < FEWEST_CORNERS:
        return None
    if np.median(signed[ok]) < 0:
        signed = -signed
    ok &= signed > LEAST_STRENGTH * np.median(strength[ok])
    ok &= seen.misfit < max(MISFIT, MISFIT_TIMES * float(np.median(seen.misfit[ok])))
    if ok.sum() < FEWEST_CORNERS:
        return None
    # corners that something crosses are pulled by 1 to 2 px: drop the worst, refit, until all agree
    better = h
    for _ in range(len(board)):
        fit, _ = cv2.findHomography(board[ok], seen.points[ok], 0)
        if fit is None:
            return None
        better = np.asarray(fit, dtype=np.float64)
        off = np.where(ok, np.linalg.norm(apply(better, board) - seen.points, axis=1), 0.0)
        if off.max() <= max(OFF_PX, OFF_TIMES * float(np.median(off[ok]))):
            break
        ok[int(off.argmax())] = False
        if ok.sum() < FEWEST_AGREEING:
            return None
    sigma = np.hypot(FIT_SHARE * seen.sigma_px, CORNER_FLOOR_PX)
    px_per_mm, blur = float(np.median(scale)), float(np.median(seen.blur_px[ok]))
    return Card(
        spec,
        number,
        board[ok],
        seen.points[ok],
        sigma[ok],
        start[~ok],
        better,
        px_per_mm,
        blur,
        float(np.median(strength[ok])),
        find_edges(gray, spec, better, px_per_mm, 0.8 * blur),
    )
