"""From photos to views of the board: found, brought to the sensor's layout, judged one by one."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

from calibration.exif import ExifLike, PhotoLike, turn_tag
from calibration.lens.boards import Board, Charuco, Chessboard
from calibration.lens.charuco import find_charuco
from calibration.lens.chessboard import BoardView, as_view, find_grid
from calibration.lens.match import ZOOM_TOLERANCE
from calibration.lens.model import turn_points, turned_size
from calibration.lens.profiles import same_focal, same_words
from shared.errors import UserError

LEAST_CORNERS = 12
LEAST_SHARE = 0.5
"""Of the board's corners: with less in the picture a photo says little, and is left out."""
BLUR_SHARE = 1 / 8
"""Widest flank of a corner in parts of a square."""
WIDEST_PX = 3.0
WORST_SIGMA_PX = 0.3
MARKER_TOLERANCE = 0.06


@dataclass(frozen=True)
class Sighting:
    """One photo and the boards seen in it.

    size : width, height of the sensor's layout. views : corners in that layout's pixels.
    unsure : the EXIF orientation leaves open whether the picture as stored or as shown is the sensor's
    layout; the pixels are as stored. reason : why it is left out, or None.
    """

    name: str
    sha256: str
    exif: ExifLike
    size: tuple[int, int]
    views: tuple[BoardView, ...]
    unsure: bool
    reason: str | None = None

    def without(self, reason: str) -> Sighting:
        """The same photo, left out."""
        return replace(self, reason=reason)


def look(photos: Iterable[PhotoLike], board: Board) -> tuple[list[Sighting], Board]:
    """Find the board in each photo; a chessboard of unknown size gets the size that most photos show.

    Raises UserError when most photos show a board of another size than the one given.
    """
    hint, again, out = board, [], []
    sizes: Counter[tuple[int, int]] = Counter()
    for photo in photos:
        sighting = _sight(photo, hint)
        out.append(sighting)
        if isinstance(board, Chessboard):
            for v in sighting.views:
                sizes[(max(v.size), min(v.size))] += 1
            usual = sizes.most_common(1)
            if not board.columns:
                if hint == board and usual and usual[0][1] >= 2:
                    hint = Chessboard(*usual[0][0], board.square_mm)
                elif sighting.reason is not None and not sighting.reason.startswith("blurred"):
                    again.append((len(out) - 1, photo))
    if not isinstance(board, Chessboard):
        _check_markers(out, board)
        return out, board
    known = _settle(board, sizes)
    for k, photo in again:
        out[k] = _sight(photo, known)
    return [_named(s, known) for s in out], known


def _settle(board: Chessboard, sizes: Counter[tuple[int, int]]) -> Chessboard:
    """The board's size, or a UserError when the photos contradict the one given."""
    if not sizes:
        return board
    (columns, rows), times = sizes.most_common(1)[0]
    if not board.columns:
        return Chessboard(columns, rows, board.square_mm)
    given = (max(board.columns, board.rows), min(board.columns, board.rows))
    if (columns, rows) != given and times >= 2 and times > sizes[given]:
        raise UserError(
            f"board {board.columns}x{board.rows}",
            f"{times} of {sum(sizes.values())} photos show one of {columns} x {rows} inner corners",
            f"give --board {columns}x{rows} (corners where four squares meet, not squares)",
        )
    return board


def _check_markers(sightings: list[Sighting], board: Charuco) -> None:
    """Refuse a wrong square or marker size: their ratio shows in every photo."""
    seen = [v.marker_share for s in sightings for v in s.views]
    given = board.marker_mm / board.square_mm
    if seen and abs(statistics.median(seen) / given - 1) > MARKER_TOLERANCE:
        raise UserError(
            f"marker {board.marker_mm:g} mm in a square of {board.square_mm:g} mm",
            f"the photos show {statistics.median(seen):.2f} of a square, not {given:.2f}",
            "measure one square and one marker on the print and give both",
        )


def _sight(photo: PhotoLike, board: Board) -> Sighting:
    h, w = photo.gray.shape
    tag = turn_tag(photo.exif)
    inverse = {6: 8, 8: 6}.get(tag, tag)
    stored = turned_size((w, h), inverse)
    # cameras store the sensor's layout, which lies wide; a picture shown wide but stored upright was
    # turned by a program, and is taken as shown
    back = 1 if stored[0] < stored[1] and w > h else inverse
    unsure = back != 1 and stored == (w, h)
    size = turned_size((w, h), back)
    if isinstance(board, Charuco):
        found = find_charuco(photo.gray, board)
    else:
        grid = find_grid(photo.gray, board)
        found = [as_view(grid, board)] if grid else []
    sharp = [
        v
        for v in found
        if v.blur_px <= min(max(BLUR_SHARE * v.step_px, 1.6), WIDEST_PX) and v.sigma_px <= WORST_SIGMA_PX
    ]
    views = tuple(replace(v, pixels=turn_points(v.pixels, (w, h), back)) for v in sharp)
    reason = None if views else "no board found: show all of it, sharp, not in glaring light"
    if found and not sharp:
        v = found[0]
        reason = (
            f"blurred: edges {v.blur_px:.1f} px wide on squares of {v.step_px:.0f} px, corners good to "
            f"{v.sigma_px:.2f} px; hold still, tap to focus"
        )
    return Sighting(photo.name, photo.sha256, photo.exif, size, views, unsure, reason)


def _named(s: Sighting, board: Chessboard) -> Sighting:
    """With places on the board of the now known size, and larger grids refused."""
    views, reason = [], s.reason
    for v in s.views:
        columns, rows = v.size
        if columns > board.columns or rows > board.rows:
            reason = reason or (
                f"shows {columns} x {rows} corners where the others show {board.columns} x {board.rows}: another board"
            )
            continue
        views.append(replace(v, whole=(columns, rows) == (board.columns, board.rows)))
    return replace(s, views=tuple(views), reason=reason)


def judge(s: Sighting, board: Board) -> Sighting:
    """Leave out what shows too little of the board."""
    if s.reason is not None:
        return s
    total = board.columns * board.rows if isinstance(board, Chessboard) else (board.columns - 1) * (board.rows - 1)
    need = min(total, max(LEAST_CORNERS, round(LEAST_SHARE * total)))
    views = [v for v in s.views if len(v.pixels) >= need]
    most = max(len(v.pixels) for v in s.views)
    if not views:
        return s.without(f"only {most} of the board's {total} corners seen, {need} are needed: show all of it")
    return replace(s, views=tuple(views))


def one_camera(sightings: list[Sighting]) -> list[Sighting]:
    """Leave out photos of another camera, lens, zoom or size than most of them.

    Raises UserError where no majority shows which camera is meant.
    """
    left = [
        s.without(f"digital zoom {s.exif.digital_zoom:.3g}x: take it without zoom")
        if s.reason is None and s.exif.digital_zoom and s.exif.digital_zoom > 1 + ZOOM_TOLERANCE
        else s
        for s in sightings
    ]
    good = [s for s in left if s.reason is None]
    if not good:
        return left
    groups: list[list[Sighting]] = []
    for s in good:
        home = next((g for g in groups if difference(g[0], s) is None), None)
        if home is None:
            groups.append([s])
        else:
            home.append(s)
    groups.sort(key=len, reverse=True)
    if len(groups) > 1 and len(groups[1]) > 0.6 * len(groups[0]):
        raise UserError(
            f"{len(groups[0])} and {len(groups[1])} photos",
            "do not belong together: " + (difference(groups[0][0], groups[1][0]) or ""),
            "calibrate each camera, lens, zoom and picture size from its own photos",
        )
    first = groups[0][0]
    return [s if s.reason is not None or (why := difference(first, s)) is None else s.without(why) for s in left]


def difference(usual: Sighting, s: Sighting) -> str | None:
    """How a photo's camera differs from the usual one, in words; None where it does not."""
    a, b = usual.exif, s.exif
    if not (same_words(a.make, b.make) and same_words(a.model, b.model)):
        return (
            f"taken with {f'{b.make or str()} {b.model or str()}'.strip() or 'a camera without name'}, "
            f"the others "
            f"with {f'{a.make or str()} {a.model or str()}'.strip() or 'a camera without name'}"
        )
    if not same_words(a.lens_model, b.lens_model):
        theirs = a.lens_model or "another"
        return f"taken through {b.lens_model or 'a lens without name'}, the others through {theirs}"
    if not ((a.focal_mm is None and b.focal_mm is None) or same_focal(a.focal_mm, b.focal_mm)):
        return f"focal length {b.focal_mm or 'unknown'} mm, the others {a.focal_mm or 'unknown'} mm"
    if usual.size != s.size:
        return f"{s.size[0]} x {s.size[1]} pixels, the others {usual.size[0]} x {usual.size[1]}"
    return None


def shapeable(views: list[BoardView], board: Board) -> bool:
    """Whether places on the board mean the same in all views, so that its own shape can be fitted."""
    if isinstance(board, Charuco):
        return all(v.place == views[0].place for v in views)
    ambiguous = board.columns == board.rows and board.columns % 2 == 0
    return not ambiguous and all(v.whole for v in views)
