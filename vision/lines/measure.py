"""One drawn line or string, measured: the centre of its stroke every few millimetres, to hundredths of a pixel.

The stroke's profile is a bar between two sides that may differ in brightness,

    I(x) = L (1 - P(x - c + h)) + B (P(x - c + h) - P(x - c - h)) + R P(x - c - h),   P = normal cdf of width s,

fitted by Gauss-Newton in every short segment. With L and R free the centre c is not drawn to the darker
side, the bias that Steger 1998 describes for lines between unequal sides. Half width h and blur s are
taken from the whole line's mean profile; segments that do not look like the line are set aside.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.special import ndtr

from shared.numerics.arrays import F64, U8, Bools, Box
from shared.numerics.ranks import median, row_medians
from shared.numerics.small_sums import row_means
from vision.image.rectified import Plane
from vision.lines.waviness import Waviness, estimate_waviness

TWO_SIDED = 0.3
"""Least step on a string's lesser side over that on its greater one: what has less is an edge, not a line. By
judgement: light from one side makes a string's two steps differ up to threefold."""
SHADE = 0.35
"""Standard deviation, in widths of a string, of how far shading may move it where only one half of it shows. By
judgement: the middle of one half lies a quarter of the width off, a rim of light farther."""
MIDDLE, NARROWER = 0.6, 0.5
"""Part of a profile that counts as its middle, and how much narrower a line found there must be than one found in all
of it. By judgement: half as broad is another, thinner line within a broad one."""
ROUGH, FINE = 3, 6
"""Rounds of the bars' fits that only say where to sample next, and of those that count. By judgement."""
CENTRE_FLOOR_PX = 0.02
"""What sampling and the stroke's ragged edges leave in a segment's centre beyond the fit's noise. By judgement, as of a
card's edge (`vision.cards.edges`)."""
FEWEST_SEGMENTS = 5
"""Segments that must look like the stroke: a line and its scatter take two. By judgement."""
LEAST_DEPTH, LEAST_DEPTH_STRING, MOST_DEPTH = 0.3, 0.15, 4.0
"""Depth of a segment over the typical one: less is a gap (a string's changes with what is behind it), more is another
thing."""
WITHIN, MOST_SIGMA_PX = 0.7, 0.6
"""Part of the profile's half in which a centre must lie, and its most standard deviation: beyond, half of the stroke is
outside, or the fit has found none. By judgement."""
RESIDUAL, RESIDUAL_GREY = 0.5, 2.0
"""Most residual of a segment's fit, over its depth, and grey levels added to it (noise of 8 bits). By judgement."""
FAR_APART = 0.25
"""Part of the line that two segments must be apart for a line through them to say anything of its direction."""
BISQUARE, AGREES = 4.5, 4.0
"""Robust standard deviations at which a segment counts for nothing, and up to which it is kept: 4.685 costs 5 % of
efficiency for normal errors (Maronna, Martin and Yohai 2006, table 2.2)."""
LEAST_SCATTER_PX = 0.03
"""Scatter that segments are never taken to be below: about `CENTRE_FLOOR_PX`."""


@dataclass(frozen=True)
class Stroke:
    """A measured line.

    pixels : (n, 2) centres of the kept segments, picture pixels. uv : (n, 2) the same, sheet mm.
    sigma_px : (n,) independent standard deviation across the line. width_mm, blur_px : of the mean profile.
    depth : (n,) grey levels below (above: negative) the mean of the two sides. kept : (m,) of all segments.
    place : (m,) mm along the line of all segments. off_px : (m,) centre's distance from the fitted line.
    waviness : what is left beyond sigma_px, and how far it reaches along the line, mm.
    shade_px : (n,) of a string: how far light from one side may move each kept centre, see `shaded`.
    """

    pixels: F64
    uv: F64
    sigma_px: F64
    width_mm: float
    blur_px: float
    depth: F64
    kept: Bools
    place: F64
    off_px: F64
    waviness: Waviness
    px_per_mm: float
    shade_px: F64 | None = None

    @property
    def length_mm(self) -> float:
        """From the first kept segment to the last."""
        return float(np.linalg.norm(self.uv[-1] - self.uv[0])) if len(self.uv) > 1 else 0.0


@dataclass(frozen=True)
class Sampled:
    """Profiles across a line. values : (m, k) mean grey of each segment at `across` (k,) pixels.
    spread : (m,) standard deviation along each segment, of one pixel. centres : (m, 2) sheet mm."""

    values: F64
    across: F64
    place: F64
    centres: F64
    normal: F64
    px_per_mm: F64
    inside: Bools


def sample(gray: U8, plane: Plane, a: F64, b: F64, half_px: float, segment_mm: float) -> Sampled:
    """Mean profiles across the line from a to b (sheet mm) in segments of `segment_mm`.

    gray : the full picture (h, w). plane : of the rib. a, b : (2,). half_px : how far to either side, pixels.
    """
    length = float(np.linalg.norm(b - a))
    t = (b - a) / length
    q = np.array([-t[1], t[0]])
    scale_at = plane.to_pixels(np.stack([a + 0.5 * length * t, a + 0.5 * length * t + q]))
    mean_scale = float(np.linalg.norm(scale_at[1] - scale_at[0]))
    # two lines of one length are cut alike, wherever they lie: a whole number of segments may fall short by rounding
    count = max(3, int(length / segment_mm + 1e-6))
    per = max(3, int(np.ceil(length * mean_scale / count)))
    s = (np.arange(count * per) + 0.5) * length / (count * per)
    across = np.arange(-np.ceil(half_px), np.ceil(half_px) + 1)
    place = s.reshape(count, per).mean(1)
    middle = a + place[:, None] * t
    centre = plane.to_pixels(a + s[:, None] * t).reshape(count, per, 2)
    # across the line is the same direction all along a segment
    side = plane.to_pixels(middle + q) - plane.to_pixels(middle)
    scale = np.sqrt((side * side).sum(1))
    side /= scale[:, None]
    middles, aside = centre.astype(np.float32), (side[:, :, None] * across).astype(np.float32)
    mx, my = ((middles[:, :, i, None] + aside[:, None, i]).reshape(count * per, -1) for i in (0, 1))
    h, w = gray.shape
    values = cv2.remap(gray, mx, my, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE).reshape(count, per, -1)
    rim = np.abs(side) * across[-1] + 1.0
    ends = centre[:, [0, -1]]
    inside = ((ends.min(1) - rim > 0) & (ends.max(1) + rim < [w - 1, h - 1])).all(1)
    return Sampled(row_means(values), across, place, middle, q, scale, inside)


@dataclass(frozen=True)
class How:
    """How a line is measured.

    half_px : how far to either side its profile is taken. segment_mm : length of a segment along it. blur_px : of the
    picture. avoid : boxes (u0, v0, u1, v1) sheet mm whose pattern would be mistaken for the stroke (cards). any_sign : the
    stroke may be darker here and lighter there (a string before changing backgrounds). rounds : times it is measured, each
    time about the line found before. quick : leave the waviness at the residuals' plain standard deviation; `shaded`
    makes up for it.
    """

    half_px: float
    segment_mm: float
    blur_px: float
    avoid: tuple[Box, ...] = ()
    any_sign: bool = False
    rounds: int = 2
    quick: bool = False


def measure(
    gray: U8,
    plane: Plane,
    a: F64,
    b: F64,
    *,
    half_px: float,
    segment_mm: float,
    blur_px: float,
    avoid: tuple[Box, ...] = (),
) -> Stroke | None:
    """Measure the drawn line that runs about from a to b (sheet mm, good to 1 or 2 pixels). The rest as of `How`.

    Returns None when fewer than five segments look like a stroke.

    gray : the full picture (h, w). plane : of the rib. a, b : (2,). half_px, segment_mm, blur_px, avoid : as in
    `How`.
    """
    return measure_as(gray, plane, a, b, How(half_px, segment_mm, blur_px, avoid))


def measure_as(gray: U8, plane: Plane, a: F64, b: F64, how: How) -> Stroke | None:
    """As `measure`, with all options in one value.

    gray : the full picture (h, w). plane : of the rib. a, b : (2,) sheet mm. how : the options.
    """
    half_px, segment_mm, blur_px, any_sign = how.half_px, how.segment_mm, how.blur_px, how.any_sign
    for ahead in reversed(range(how.rounds)):
        seen = sample(gray, plane, a, b, half_px, segment_mm)
        for u0, v0, u1, v1 in how.avoid:
            m = seen.centres
            seen.inside[(m[:, 0] > u0) & (m[:, 0] < u1) & (m[:, 1] > v0) & (m[:, 1] < v1)] = False
        fit = _fit(seen, blur_px, any_sign, ROUGH if ahead else FINE)
        if fit is None:
            return None
        centre, sigma, depth, ok, half_width, blur = fit
        uv = seen.centres + (centre / seen.px_per_mm)[:, None] * seen.normal
        good, line = _robust_line(seen.place, centre, sigma, ok)
        if good.sum() < FEWEST_SEGMENTS:
            return None
        t = (b - a) / np.linalg.norm(b - a)
        ends = np.array([0.0, float(np.linalg.norm(b - a))])
        shift = np.polyval(line, ends) / median(seen.px_per_mm)
        a, b = a + shift[0] * seen.normal, a + ends[1] * t + shift[1] * seen.normal
    off = centre - np.polyval(line, seen.place)
    scale = median(seen.px_per_mm)
    sigma = np.hypot(sigma, CENTRE_FLOOR_PX)
    wave = (
        Waviness(float(np.std(off[good])), float(np.ptp(seen.place)) / 10)
        if how.quick
        else estimate_waviness(seen.place[good], off[good], sigma[good])
    )
    return Stroke(
        plane.to_pixels(uv[good]),
        uv[good],
        sigma[good],
        2 * half_width / scale,
        blur,
        depth[good],
        good,
        seen.place,
        off,
        wave,
        scale,
    )


def shaded(s: Stroke) -> Stroke:
    """A string's stroke with what light from one side does to it.

    A cylinder lit from the side is bright on one half and dark on the other. Before a background between the
    two, only one half stands out, and which one depends on the background: the centre seems to move by up to
    half a width. Before a background that both halves stand out from (large depth) it does not. The shift
    is one unknown for the whole string times a known shape, so the joint solution can separate it from a tilt.
    """
    most = float(np.abs(s.depth).max())
    shape = np.sign(s.depth) * (1.0 - np.abs(s.depth) / most)
    shade = SHADE * s.width_mm * s.px_per_mm * shape
    place, off = s.place[s.kept], s.off_px[s.kept]
    # waviness is what is left when line and shading are fitted
    design = np.stack([np.ones(len(place)), place, shade], axis=1)
    weight = 1.0 / s.sigma_px
    penalty = np.vstack([design * weight[:, None], [0.0, 0.0, 1.0]])
    fit = np.linalg.lstsq(penalty, np.append(off * weight, 0.0), rcond=None)[0]
    return replace(s, shade_px=shade, waviness=estimate_waviness(place, off - shade * fit[2], s.sigma_px))


def _fit(
    seen: Sampled, blur_px: float, any_sign: bool, rounds: int
) -> tuple[F64, F64, F64, Bools, float, float] | None:
    x = seen.across
    values = seen.values
    rim = np.abs(x) >= np.abs(x).max() - 1.5
    beside = row_medians(values[:, rim])
    depth0 = beside - values[:, np.abs(x) <= 1.5].mean(1)
    strong = seen.inside
    if strong.sum() >= FEWEST_SEGMENTS:
        strong = strong & (np.abs(depth0) >= median(np.abs(depth0[strong])))
    if strong.sum() < 3:
        return None
    sign = np.sign(depth0) if any_sign else np.full(len(values), np.sign(median(depth0[strong])))
    mean = ((values - beside[:, None]) * sign[:, None])[strong].mean(0)
    half_width, blur = _mean_shape(x, mean, blur_px)
    c, cov, coef, rms = _bars(x, values, half_width, blur, rounds)
    depth = (coef[:, 0] + coef[:, 2]) / 2 - coef[:, 1]
    signed = depth * sign if not any_sign else np.abs(depth)
    typical = median(signed[strong])
    sigma = np.sqrt(cov)
    ok = (
        seen.inside
        & (signed > (LEAST_DEPTH_STRING if any_sign else LEAST_DEPTH) * typical)
        & (signed < MOST_DEPTH * typical)
        & (np.abs(c) < np.abs(x).max() * WITHIN)
        & (sigma < MOST_SIGMA_PX)
        & (rms < RESIDUAL * np.abs(depth) + RESIDUAL_GREY)
    )
    if any_sign:
        ok &= _two_sided(coef)
    if ok.sum() < FEWEST_SEGMENTS:
        return None
    return c, sigma, depth, ok, half_width, blur


def _two_sided(coef: F64) -> Bools:
    """(n,) whether bars (n, 3: left, bar, right) are lighter or darker than both their sides; the edge of a board is not."""
    rise, fall = coef[:, 1] - coef[:, 0], coef[:, 1] - coef[:, 2]
    return (rise * fall > 0) & (
        np.minimum(np.abs(rise), np.abs(fall)) > TWO_SIDED * np.maximum(np.abs(rise), np.abs(fall))
    )


def _mean_shape(x: F64, mean: F64, blur_px: float) -> tuple[float, float]:
    """Half width and blur of the mean profile, pixels, by a small search; blur near the picture's own.

    Where the ground beside a thin line slopes or steps, a broad bar fits the whole profile better than the line does.
    The middle part alone then shows a much narrower one, which is the line.
    """
    blur, half = (
        g.ravel()
        for g in np.meshgrid(
            blur_px * np.array([0.7, 1.0, 1.4]), np.geomspace(0.3, max(1.0, 0.5 * np.abs(x).max()), 12)
        )
    )

    def best(part: Bools) -> int:
        _, _, _, rms = _bars(x[part], np.repeat(mean[None, part], len(half), axis=0), half, blur, rounds=4)
        return int(np.argmin(rms * (1 + 0.02 * np.abs(np.log(blur / blur_px)))))

    whole, middle = best(np.abs(x) < np.inf), best(np.abs(x) <= MIDDLE * np.abs(x).max())
    k = middle if half[middle] < NARROWER * half[whole] else whole
    return float(half[k]), float(blur[k])


def _bars(x: F64, values: F64, half_width: float | F64, blur: float | F64, rounds: int) -> tuple[F64, F64, F64, F64]:
    """Batched bar fits: centre (n,), its variance (n,), L, B, R (n, 3), residual rms (n,).

    The profile is L + (B - L) P1 + (R - B) P2; with all means taken out, the two steps are a 2 x 2 system.
    """
    n, k = values.shape
    h = np.broadcast_to(np.asarray(half_width, dtype=np.float64), (n,))[:, None]
    s = np.broadcast_to(np.asarray(blur, dtype=np.float64), (n,))[:, None]
    inner = np.abs(x) <= 0.6 * np.abs(x).max()
    dip = np.abs(values - row_medians(values[:, ~inner])[:, None]) * inner
    dip = np.maximum(dip - 0.5 * dip.max(1, keepdims=True), 0)
    c = (dip @ x) / np.maximum(dip.sum(1), 1e-9)
    level = values.mean(1)
    v = values - level[:, None]
    vv = _dot(v, v)
    per_s = 1 / s
    wide, fall = 2 * h * per_s, -per_s / 2.5066282746
    even = np.full(k, 1 / k)
    z = np.empty((2, n, k))
    for _ in range(rounds):
        np.multiply(x - c[:, None] + h, per_s, out=z[0])
        np.subtract(z[0], wide, out=z[1])
        p = ndtr(z)
        m1, m2 = means = p @ even
        p -= means[:, :, None]
        p1, p2 = p
        a11, a12, a22 = _dot(p1, p1) + 1e-9, _dot(p1, p2), _dot(p2, p2) + 1e-9
        det = a11 * a22 - a12 * a12
        b1, b2 = _dot(p1, v), _dot(p2, v)
        d1, d2 = (a22 * b1 - a12 * b2) / det, (a11 * b2 - a12 * b1) / det
        # the centre's own direction, with what L, B, R can explain taken out (Golub and Pereyra 1973)
        z *= z
        z *= -0.5
        g1, g2 = np.exp(z, out=z)
        slope = (d1[:, None] * g1 + d2[:, None] * g2) * fall
        slope -= (slope @ even)[:, None]
        s1, s2 = _dot(p1, slope), _dot(p2, slope)
        power = np.maximum(_dot(slope, slope) - (a22 * s1 * s1 - 2 * a12 * s1 * s2 + a11 * s2 * s2) / det, 1e-9)
        step = (_dot(slope, v) - d1 * s1 - d2 * s2) / power
        c = c + np.minimum(np.maximum(step, -1.0), 1.0)
    left = np.maximum(vv - d1 * b1 - d2 * b2, 0.0)
    rms = np.sqrt(left / max(k - 4, 1))
    side = level - d1 * m1 - d2 * m2
    return c, rms * rms / power, np.stack([side, side + d1, side + d1 + d2], axis=1), rms


def _dot(a: F64, b: F64) -> F64:
    """(n,) products of the rows."""
    return np.asarray((a[:, None] @ b[:, :, None])[:, 0, 0])


def _robust_line(s: F64, c: F64, sigma: F64, ok: Bools) -> tuple[Bools, F64]:
    """Straight line through the centres by bisquare weights from a median start; which segments agree with it."""
    i = np.flatnonzero(ok)
    # start: the best of all lines through pairs of segments well apart, by the median distance
    rng = np.random.default_rng(len(i))
    pairs = rng.choice(i, size=(120, 2))
    pairs = pairs[np.abs(s[pairs[:, 0]] - s[pairs[:, 1]]) > FAR_APART * np.ptp(s[i])]
    slope, at = 0.0, median(c[i])
    if len(pairs):
        p, q = pairs.T
        slopes = (c[q] - c[p]) / (s[q] - s[p])
        starts = c[p] - slopes * s[p]
        k = int(np.argmin(row_medians(np.abs(c[i] - starts[:, None] - slopes[:, None] * s[i]))))
        slope, at = float(slopes[k]), float(starts[k])
    good = ok.copy()
    for _ in range(8):
        r = c - at - slope * s
        scale = max(1.4826 * median(np.abs(r[ok])), LEAST_SCATTER_PX)
        w = np.maximum(1 - (r / (BISQUARE * scale)) ** 2, 0) ** 2 / (sigma**2 + scale**2) * ok
        if np.count_nonzero(w) < 4:
            break
        good = ok & (np.abs(r) < AGREES * scale)
        before = slope, at
        slope, at = _weighted_line(s, c, w)
        if abs(slope - before[0]) * float(s[-1]) < 1e-6 and abs(at - before[1]) < 1e-6:
            break
    return good, np.array([slope, at])


def _weighted_line(s: F64, c: F64, w: F64) -> tuple[float, float]:
    """Slope and height at s = 0 of the least-squares line."""
    total = float(w.sum())
    mean = float(w @ s) / total
    d = w * (s - mean)
    slope = float(d @ c) / float(d @ s)
    return slope, float(w @ c) / total - slope * mean
