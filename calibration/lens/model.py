"""The lens model: OpenCV's pinhole with radial and tangential distortion, and its uncertainty.

Pixels: first pixel's centre (0, 0), x right, y down. Rays: normalised image coordinates
(x/z, y/z) in the camera frame (x right, y down, z forward), undistorted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64

PARAMETERS = ("fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3")


@dataclass(frozen=True)
class Lens:
    """Intrinsics of one camera at one image size, with their full covariance.

    ident : names it as an uncertainty source ("fieldcam-f1-4000x3000").
    size : width, height in pixels. theta : the nine PARAMETERS, OpenCV's order of distortion.
    covariance : (9, 9); parameters held fixed have zero rows.
    sound : False for a guess (EXIF focal length, no profile).
    basis : (k, 9) the steps that `axes` gives, where these come from another lens: a lens turned with its
        picture must err along the very axes of the lens it was turned from, or what photos of either way
        up share would be taken for something else. None: the covariance's own principal axes.
    """

    ident: str
    size: tuple[int, int]
    theta: F64
    covariance: F64
    sound: bool = True
    basis: F64 | None = None

    def project(self, rays: F64, theta: F64 | None = None) -> F64:
        """Pixels (n, 2) of undistorted rays (n, 2). OpenCV's model, docs of calib3d."""
        return distort(rays, self.theta if theta is None else theta)

    def rays(self, pixels: F64, theta: F64 | None = None) -> F64:
        """Undistorted rays (n, 2) of pixels (n, 2), to 1e-12."""
        return undistort(pixels, self.theta if theta is None else theta)

    def axes(self) -> F64:
        """(k, 9): steps of one standard deviation along the covariance's principal axes (or `basis`)."""
        if self.basis is not None:
            return self.basis
        values, vectors = np.linalg.eigh(self.covariance)
        keep = values > max(float(values.max()), 0.0) * 1e-14
        return np.asarray((vectors[:, keep] * np.sqrt(values[keep])).T, dtype=np.float64)

    def turned(self, orientation: int) -> Lens:
        """The same lens for a picture whose stored pixels were turned by an EXIF orientation, 1 to 8.

        `self` belongs to the stored pixels; the result to the picture as shown. The turn is exact for
        values and covariance: both are linear in the parameters. Raises ValueError outside 1 to 8.
        """
        if orientation == 1:
            return self
        (w, h), shown = self.size, turned_size(self.size, orientation)
        a = turn_matrix(orientation)
        jacobian = np.zeros((9, 9))
        jacobian[0:2, 0:2] = np.abs(a)
        jacobian[2:4, 2:4] = a
        # Tangential distortion is q r^2 + 2 (q.v) v with q = (p2, p1): q turns as a vector does.
        jacobian[6:8, 6:8] = a[::-1, ::-1]
        for k in (4, 5, 8):
            jacobian[k, k] = 1.0
        theta = jacobian @ self.theta
        corner = a @ np.array([w - 1.0, h - 1.0])
        theta[2:4] -= np.minimum(corner, 0.0)
        covariance = jacobian @ self.covariance @ jacobian.T
        return Lens(self.ident, shown, theta, covariance, self.sound, self.axes() @ jacobian.T)


def turn_matrix(orientation: int) -> F64:
    """(2, 2) signed permutation that takes stored (x, y) to shown (x, y), about the picture's middle.

    EXIF orientation 1 to 8, CIPA DC-008 (Exif 2.32) 4.6.4 tag 274. Raises ValueError otherwise.
    """
    rows = {
        1: (1, 0, 0, 1),
        2: (-1, 0, 0, 1),
        3: (-1, 0, 0, -1),
        4: (1, 0, 0, -1),
        5: (0, 1, 1, 0),
        6: (0, -1, 1, 0),
        7: (0, -1, -1, 0),
        8: (0, 1, -1, 0),
    }
    if orientation not in rows:
        raise ValueError(f"EXIF orientation must be 1 to 8, not {orientation}")
    return np.array(rows[orientation], dtype=np.float64).reshape(2, 2)


def turned_size(size: tuple[int, int], orientation: int) -> tuple[int, int]:
    """Width and height after an EXIF orientation."""
    return size if abs(turn_matrix(orientation)[0, 0]) == 1 else (size[1], size[0])


def turn_points(points: F64, size: tuple[int, int], orientation: int) -> F64:
    """Points (n, 2) of a picture of this size after an EXIF orientation, pixels."""
    a = turn_matrix(orientation)
    corner = a @ np.array([size[0] - 1.0, size[1] - 1.0])
    return np.asarray(points @ a.T - np.minimum(corner, 0.0))


def distort(rays: F64, theta: F64) -> F64:
    """Pixels (n, 2) of rays (n, 2) under the nine parameters."""
    fx, fy, cx, cy, k1, k2, p1, p2, k3 = theta.tolist()
    x, y = rays[:, 0], rays[:, 1]
    r2 = x * x + y * y
    # x radial + 2 p1 x y + p2 (r2 + 2 x x), and the same for y, with what is common taken out
    common = 1 + r2 * (k1 + r2 * (k2 + r2 * k3)) + 2 * (p1 * y + p2 * x)
    out = np.empty((len(x), 2))
    out[:, 0] = fx * (x * common + p2 * r2) + cx
    out[:, 1] = fy * (y * common + p1 * r2) + cy
    return out


def undistort(pixels: F64, theta: F64, steps: int = 50) -> F64:
    """Rays (n, 2) of pixels (n, 2) under the nine parameters, by Newton's method from the undistorted place.

    Where the lens bends evenly (radius seen grows with the ray's, ever more slowly or ever faster) every step comes
    nearer from the same side; the last one is below 1e-12.
    """
    fx, fy, cx, cy, k1, k2, p1, p2, k3 = theta.tolist()
    xd, yd = (pixels[:, 0] - cx) / fx, (pixels[:, 1] - cy) / fy
    x, y = xd, yd
    for _ in range(steps if len(x) else 0):
        r2 = x * x + y * y
        bent = 2 * (p1 * y + p2 * x)
        common = 1 + r2 * (k1 + r2 * (k2 + r2 * k3)) + bent
        slope = 2 * (k1 + r2 * (2 * k2 + r2 * (3 * k3)))
        ex, ey = x * common + p2 * r2 - xd, y * common + p1 * r2 - yd
        sx, sy = slope * x + 2 * p2, slope * y + 2 * p1
        xx, yy = common + x * sx + 2 * p2 * x, common + y * sy + 2 * p1 * y
        xy = x * sy + 2 * p2 * y
        per = 1 / (xx * yy - xy * xy)
        dx, dy = (yy * ex - xy * ey) * per, (xx * ey - xy * ex) * per
        x, y = x - dx, y - dy
        if (dx * dx + dy * dy).max() < 1e-14:  # the next step would be about the square of this one
            break
    return np.stack([x, y], axis=1)
