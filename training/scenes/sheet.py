"""The rib face's picture, in chord coordinates: x right in the photo, y up, mm, origin mid chord."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike

from shared.numerics.arrays import F64
from training.scenes.world import Image, Rgb, as_image


class Sheet:
    """A picture (h, w, 3) in linear light that covers x of +-half_w and y of lo to hi, `ppm` pixels a millimetre."""

    def __init__(self, half_w: float, lo: float, hi: float, ppm: float, image: Image) -> None:
        self.half_w, self.lo, self.hi, self.ppm, self.image = half_w, lo, hi, ppm, image
        self.h, self.w = image.shape[:2]

    def px(self, p: ArrayLike) -> F64:
        """Sheet mm to pixels whose edges, not centres, are integers."""
        q = np.asarray(p, float)
        return np.stack([(q[..., 0] + self.half_w) * self.ppm, (self.hi - q[..., 1]) * self.ppm], -1)

    def uv(self, p: F64) -> F64:
        """Sheet mm to texture coordinates."""
        q = self.px(p)
        return np.stack([q[:, 0] / self.w, 1 - q[:, 1] / self.h], 1)

    def stroke(
        self,
        a: ArrayLike,
        b: ArrayLike,
        width: float,
        dark: float,
        rng: np.random.Generator,
        wave: float = 0.0,
        rgb: Rgb = (0.08, 0.08, 0.12),
        gaps: int = 0,
        even: bool = False,
    ) -> list[tuple[float, float]]:
        """A pen stroke from a to b, mm, with a slow wave and uneven ink; the spans of its gaps, parts of the length."""
        p, q = np.asarray(a, float), np.asarray(b, float)
        length = float(np.hypot(*(q - p)))
        if length < 0.5:
            return []
        t = (q - p) / length
        n = np.array([-t[1], t[0]])
        pad = width / 2 + 4 * wave + 2 / self.ppm
        along = np.linspace(0, length, max(2, int(length / 45) + 2))
        offsets = wave * rng.standard_normal(len(along))
        ink_at = np.arange(0, length + 40, 11.0)
        ink_of = np.clip(0.85 + (0.0 if even else 0.25) * rng.standard_normal(len(ink_at)), 0.35, 1.0)
        spans = []
        for _ in range(gaps):
            g, half = rng.uniform(0.1, 0.9) * length, rng.uniform(2, 6)
            spans.append(((g - half) / length, (g + half) / length))
        # a long stroke is drawn in pieces, so that its bounding boxes hold little else
        pieces = max(1, int(length * max(abs(t[0] * t[1]), 0.02) / 10))
        for k in range(pieces):
            s0, s1 = length * k / pieces, length * (k + 1) / pieces
            corners = self.px([p + t * s + n * o for s in (s0, s1) for o in (-pad, pad)])
            x0, y0 = np.maximum(np.floor(corners.min(0)).astype(int) - 1, 0)
            x1, y1 = np.minimum(np.ceil(corners.max(0)).astype(int) + 1, (self.w, self.h))
            if x1 <= x0 or y1 <= y0:
                continue
            x = (np.arange(x0, x1, dtype=np.float32) + np.float32(0.5)) / np.float32(self.ppm) - np.float32(
                self.half_w + p[0]
            )
            y = np.float32(self.hi - p[1]) - (np.arange(y0, y1, dtype=np.float32) + np.float32(0.5)) / np.float32(
                self.ppm
            )
            s = x[None] * np.float32(t[0]) + y[:, None] * np.float32(t[1])
            d = x[None] * np.float32(n[0]) + y[:, None] * np.float32(n[1])
            off = np.interp(s, along, offsets) if wave else 0.0
            ppm = self.ppm
            edge = np.clip((width / 2 - np.abs(d - off)) * ppm + 0.5, 0, min(1.0, width * ppm))
            cover = edge * ((s > 0) & (s < length) & (s >= s0) & (s < s1))
            for g0, g1 in spans:
                cover *= (s < g0 * length) | (s > g1 * length)
            blend = (cover * np.interp(s, ink_at, ink_of) * dark)[..., None].astype(np.float32)
            part = self.image[y0:y1, x0:x1]
            part += (as_image(rgb) - part) * blend
        return spans

    def paste(
        self, patch: Image, centre: ArrayLike, turn_deg: float, mm_w: float, mm_h: float, strength: float = 1.0
    ) -> None:
        """Lay a picture (h, w, 3) of mm_w x mm_h on the sheet, its own x axis turned by turn_deg."""
        ph, pw = patch.shape[:2]
        c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
        ex, ey, mid = np.array([c, s]) * mm_w / 2, np.array([-s, c]) * mm_h / 2, np.asarray(centre, float)
        corners = self.px([mid - ex + ey, mid + ex + ey, mid - ex - ey, mid + ex - ey])
        x0, y0 = np.maximum(np.floor(corners.min(0)).astype(int) - 1, 0)
        x1, y1 = np.minimum(np.ceil(corners.max(0)).astype(int) + 1, (self.w, self.h))
        if x1 <= x0 or y1 <= y0:
            return
        src = np.array([[-0.5, -0.5], [pw - 0.5, -0.5], [-0.5, ph - 0.5]], np.float32)
        m = cv2.getAffineTransform(src, (corners[:3] - 0.5 - [x0, y0]).astype(np.float32))
        size = (int(x1 - x0), int(y1 - y0))
        shrink = mm_w * self.ppm / pw
        if shrink < 0.7:  # averaged, so that a fine print does not alias
            patch = as_image(cv2.GaussianBlur(patch, (0, 0), 0.4 / shrink))
        warped = cv2.warpAffine(patch, m, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        mask = cv2.warpAffine(np.ones((ph, pw), np.float32), m, size, flags=cv2.INTER_LINEAR)[..., None] * np.float32(
            strength
        )
        part = self.image[y0:y1, x0:x1]
        part += (warped - part) * mask

    def tint(self, polygon: ArrayLike, rgb: Rgb, strength: float, blur_mm: float = 0.0) -> None:
        """Colour the inside of a polygon (n, 2), its edge blurred."""
        q = self.px(polygon)
        pad = int(3 * blur_mm * self.ppm) + 2
        x0, y0 = np.maximum(np.floor(q.min(0)).astype(int) - pad, 0)
        x1, y1 = np.minimum(np.ceil(q.max(0)).astype(int) + pad, (self.w, self.h))
        if x1 <= x0 or y1 <= y0:
            return
        mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
        cv2.fillPoly(mask, [np.round((q - [x0 + 0.5, y0 + 0.5]) * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        if blur_mm:
            mask = cv2.GaussianBlur(mask, (0, 0), max(blur_mm * self.ppm, 0.3))
        k = mask[..., None].astype(np.float32) * np.float32(strength / 255)
        part = self.image[y0:y1, x0:x1]
        part += (as_image(rgb) - part) * k
