"""A lens from the station cards in the job's own photos, where nobody photographed a lens board.

All photos of one camera, lens, zoom and picture size are solved at once (`card_fit`), from the EXIF focal length
as a prior; the parameters that are free are those with which photos left out fit best. What the cards do
not show keeps the prior's uncertainty. The photos that the lens comes from are read with it afterwards: their
own noise is then in the lens as well, a share of one in the number of photos, which is neglected.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.exif import ExifLike, turn_tag
from calibration.lens.bundle import View
from calibration.lens.calibrate import ident_of, rms_length
from calibration.lens.card_fit import CardFit, CardPlane, Known, fit_cards, place_plane
from calibration.lens.coverage import judge_coverage
from calibration.lens.match import guess_lens
from calibration.lens.model import turn_points, turned_size
from calibration.lens.model_choice import RICHER
from calibration.lens.models import FULL, MODELS, free_columns
from calibration.lens.profiles import FORMAT, FROM_CARDS, LensProfile, PhotoUse, same_focal, same_words
from calibration.print.profile import KnownPrint
from shared.numerics.arrays import F64

FEWEST_PHOTOS = 4
"""Photos that show a card, at least: with fewer the scatter between them is not known."""
FOLDS = 4
K3_CORNER = 0.02
"""Prior u of the third radial term, in parts of the picture's half diagonal at its corner (common practice, no source)."""
WORTH = 0.7
"""A profile is made where the cards bring u of the focal length, the middle or the distortion below this part of the guess's."""
TOLD = [0, 2, 3, 4]
"""Of theta: focal length, middle across and down, first radial term; the others follow these."""
LEFT_OUT = 3.0
"""A plane whose residuals exceed the others' by this factor holds cards that do not lie in one plane."""


@dataclass(frozen=True)
class CardSeen:
    """One station card in a photo. board : (n, 2) mm from its centre. pixels : (n, 2) of the photo as shown.

    rib : what it lies on: cards of one rib lie in one plane.
    """

    rib: str
    board: F64
    pixels: F64


@dataclass(frozen=True)
class CardPhoto:
    """A photo and its cards. size : width, height as shown."""

    name: str
    sha256: str
    exif: ExifLike
    size: tuple[int, int]
    cards: tuple[CardSeen, ...]


def one_setting(a: ExifLike, size_a: tuple[int, int], b: ExifLike, size_b: tuple[int, int]) -> bool:
    """Whether two photos were taken by one camera through one lens at one zoom and picture size."""
    focal = a.focal_mm is b.focal_mm is None or same_focal(a.focal_mm, b.focal_mm)
    words = all(same_words(x, y) for x, y in ((a.make, b.make), (a.model, b.model), (a.lens_model, b.lens_model)))
    return words and focal and sorted(size_a) == sorted(size_b) and not (a.digital_zoom or b.digital_zoom)


def lens_from_cards(photos: Sequence[CardPhoto], prints: KnownPrint) -> LensProfile | None:
    """A profile from photos of one camera and setting; None where they do not tell more than the EXIF does.

    prints : what is known of the cards' print, taken as known with its u and solved for along with the lens.
    """
    used = [p for p in photos if p.cards and _in_sensor_layout(p) is not None]
    if len(used) < FEWEST_PHOTOS:
        return None
    exif = used[0].exif
    size = next(s for p in used if (s := _in_sensor_layout(p)) is not None)[0]
    planes = [plane for k, p in enumerate(used) for plane in _planes(k, p)]
    guess = guess_lens(exif, size)
    try:
        known = {m: _known(m, guess.theta, guess.covariance, size, prints) for m in MODELS if not m.startswith("fx")}
        whole = fit_cards(planes, known[FULL])
        parted = _parted(planes, whole)
        if len(parted) > len(planes):
            whole = fit_cards(parted, known[FULL])
        model, held = _choose(whole, known)
        found = whole if model == FULL else fit_cards(whole.planes, known[model], whole, robust=False)
    except np.linalg.LinAlgError:
        return None
    if not (np.isfinite(found.covariance).all() and found.values[0] > 0):
        return None
    gain = np.sqrt(np.diag(found.covariance)[TOLD] / np.diag(guess.covariance)[TOLD])
    if gain.min() >= WORTH:
        return None
    before = float(np.sqrt(guess.covariance[0, 0])) / guess.theta[0]
    return _profile(used, size, found, model, held, before)


def _in_sensor_layout(p: CardPhoto) -> tuple[tuple[int, int], int] | None:
    """Size of the sensor's layout and the turn that takes the photo to it; None where that is open."""
    tag = turn_tag(p.exif)
    back = {6: 8, 8: 6}.get(tag, tag)
    stored = turned_size(p.size, back)
    if tag in (2, 3, 4) or stored[0] < stored[1]:
        return None  # turned by a program, or by the camera: both look alike
    return stored, back


def _planes(number: int, p: CardPhoto) -> list[CardPlane]:
    _, back = _in_sensor_layout(p) or (p.size, 1)
    ribs: dict[str, list[View]] = {}
    for c in p.cards:
        ribs.setdefault(c.rib, []).append(View.of(c.board, turn_points(c.pixels, p.size, back)))
    out = []
    for views in ribs.values():
        views.sort(key=lambda v: -float(np.ptp(v.pixels, axis=0).sum()))  # the largest tells the plane best
        out.append(CardPlane(number, tuple(views)))
    return out


def _known(model: str, theta: F64, covariance: F64, size: tuple[int, int], prints: KnownPrint) -> Known:
    columns = np.zeros((11, 0))
    lens = free_columns(model)
    columns = np.zeros((11, lens.shape[1] + 2))
    columns[:9, :-2] = lens
    columns[9, -2] = columns[10, -1] = 1.0
    corner = float(np.hypot(*size)) / 2 / theta[0]
    known = covariance.copy()
    known[8, 8] = (K3_CORNER / corner**6) ** 2
    some = np.linalg.pinv(lens) @ known @ np.linalg.pinv(lens).T
    precision = np.zeros((lens.shape[1] + 2,) * 2)
    precision[:-2, :-2] = np.linalg.inv(some)
    precision[-2, -2] = prints.u_stretch**-2
    precision[-1, -1] = np.radians(prints.u_skew_deg) ** -2
    start = np.concatenate([theta, [prints.stretch, np.radians(prints.skew_deg)]])
    return Known(start, columns, precision)


def _parted(planes: Sequence[CardPlane], fit: CardFit) -> list[CardPlane]:
    """The planes, those whose cards do not lie in one plane cut into cards."""
    level = np.array([np.median(np.linalg.norm(e, axis=1)) for e in fit.residuals])
    usual = float(np.median(level))
    out: list[CardPlane] = []
    for plane, own in zip(planes, level, strict=True):
        bent = len(plane.cards) > 1 and own > LEFT_OUT * usual
        out += [CardPlane(plane.photo, (v,)) for v in plane.cards] if bent else [plane]
    return out


def _choose(whole: CardFit, known: dict[str, Known]) -> tuple[str, float]:
    """The model whose lens fits photos left out best, and its error there, pixels; FULL where it is a tie."""
    photos = sorted({p.photo for p in whole.planes})
    folds = [photos[k::FOLDS] for k in range(min(FOLDS, len(photos)))]
    held = {m: _held_out(whole, k, folds) for m, k in known.items()}
    best = min(held, key=lambda m: held[m])
    # a term left out is a term claimed to be nought exactly: with a prior on it, that must be earned
    model = best if held[FULL] > (1 + 5 * (RICHER - 1)) * held[best] else FULL
    return model, held[model]


def _held_out(whole: CardFit, known: Known, folds: list[list[int]]) -> float:
    errors = []
    for fold in folds:
        keep = [i for i, p in enumerate(whole.planes) if p.photo not in fold]
        start = replace(
            whole,
            values=np.where(known.columns.any(axis=1), whole.values, known.start),
            planes=tuple(whole.planes[i] for i in keep),
            locals=tuple(whole.locals[i] for i in keep),
        )
        lens = fit_cards(start.planes, known, start, robust=False)
        for i, p in enumerate(whole.planes):
            if p.photo in fold:
                weight = np.concatenate([v.weight for v in p.cards]) > 0
                errors.append(place_plane(p, lens.values, whole.locals[i])[weight])
    return rms_length(np.concatenate(errors))


def _profile(
    photos: Sequence[CardPhoto], size: tuple[int, int], fit: CardFit, model: str, held: float, before: float
) -> LensProfile:
    exif = photos[0].exif
    pixels, rotations, shifts = [], [], []
    for plane, (r, t, cards) in zip(fit.planes, fit.locals, strict=True):
        for view, card in zip(plane.cards, cards, strict=True):
            pixels.append(view.pixels)
            rotations.append(r)
            shifts.append(t + r @ np.array([card[1], card[2], 0.0]))
    coverage = judge_coverage(pixels, tuple(rotations), tuple(shifts), size, fit.theta[2:4])
    weights = [np.concatenate([v.weight for v in q.cards]) > 0 for q in fit.planes]
    uses = []
    for k, p in enumerate(photos):
        own = [r[w] for q, r, w in zip(fit.planes, fit.residuals, weights, strict=True) if q.photo == k]
        uses.append(PhotoUse(p.name, p.sha256, True, None, rms_length(np.concatenate(own)), sum(map(len, own))))
    u = float(np.sqrt(fit.covariance[0, 0])) / fit.values[0]
    taken = sorted(p.exif.taken for p in photos if p.exif.taken)
    many = sum(len(q.cards) for q in fit.planes)
    errors = np.concatenate([r[w] for r, w in zip(fit.residuals, weights, strict=True)])
    ident = ident_of((exif.make, exif.model, exif.lens_model), exif.focal_mm, size)
    covariance = fit.covariance[:9, :9]
    return LensProfile(
        format=FORMAT,
        ident=f"{ident}-cards",
        make=exif.make or "",
        model=exif.model or "",
        lens_model=exif.lens_model or "",
        focal_mm=exif.focal_mm,
        focal35_mm=exif.focal35_mm,
        width=size[0],
        height=size[1],
        theta=tuple(fit.theta.tolist()),
        covariance=tuple(tuple(row) for row in ((covariance + covariance.T) / 2).tolist()),
        free=model,
        date=(taken[-1] if taken else datetime.date.today().isoformat())[:10],
        method=f"solved from {many} station cards in {len(photos)} of the job's own photos, from the EXIF focal length",
        board=FROM_CARDS,
        rms_px=rms_length(errors),
        held_out_px=held,
        coverage=coverage.share,
        reach_px=coverage.reach_px,
        photos=tuple(uses),
        notes=(
            f"no lens board was photographed: focal length known to {200 * u:.2f} % (U), by EXIF alone to "
            f"{200 * before:.1f} %; a dozen photos of a board would tell it to some 0.1 %",
        ),
    )
