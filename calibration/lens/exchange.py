"""Lens profiles as other tools keep them: OpenCV's calibration YAML and ROS camera_info YAML.

OpenCV: `camera_matrix`, `distortion_coefficients`, `image_width`, `image_height`, as its calibration sample
writes them. ROS: sensor_msgs/CameraInfo as camera_calibration_parsers writes it, distortion model plumb_bob.
Neither has a place for the uncertainty. Ours is written along under names of our own, which other readers
pass over; from a file without it, the covariance is worked out again where the file has the poses and the
board, and else a cautious one is assumed and said so.
"""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import yaml

from calibration.exif import ExifLike
from calibration.lens.bundle import scaled_inverse
from calibration.lens.calibrate import ident_of
from calibration.lens.flat import rotation
from calibration.lens.models import FULL, free_columns
from calibration.lens.profiles import FORMAT, LensProfile
from calibration.lens.projection import project_board
from shared.errors import UserError
from shared.numerics.arrays import F64

COVARIANCE = "ribangle_covariance"
DATE = "ribangle_date"
MAX_BYTES = 1_000_000
"""Largest file read; a thousand poses take a tenth of it."""
MOST = 1e6
"""More than any focal length, centre or side in pixels, or coefficient."""
ASSUMED_FOCAL = 0.01
ASSUMED_CENTRE = 0.01
ASSUMED_DISTORTION = 0.25
"""Relative u of f, of the principal point (of the diagonal), of each distortion term, where a file
says nothing."""


@dataclass(frozen=True)
class Foreign:
    """What a foreign file holds.

    covariance : (9, 9) or None; rms_px, made (the day of the calibration) : None where it does not say.
    """

    size: tuple[int, int]
    theta: F64
    covariance: F64 | None
    rms_px: float | None
    name: str
    notes: tuple[str, ...]
    made: datetime.date | None = None


def read_foreign(path: Path) -> Foreign:
    """Read OpenCV or ROS YAML. Raises UserError."""
    try:
        if path.stat().st_size > MAX_BYTES:
            raise UserError(str(path), f"is over {MAX_BYTES // 1_000_000} MB", "give an OpenCV or ROS camera YAML file")
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UserError(str(path), f"cannot be read ({error})", "give an OpenCV or ROS camera YAML file") from None
    if "opencv-matrix" not in text:
        return _sized(path, _read_ros(path, text))
    return _sized(path, _read_opencv(path, text))


class _PlainLoader(yaml.SafeLoader):  # type: ignore[misc] # PyYAML has no types
    """YAML without aliases: nested, a few lines of them unfold to more than any memory holds."""

    def compose_node(self, parent: Any, index: Any) -> Any:
        """As PyYAML, an alias refused."""
        if self.check_event(yaml.AliasEvent):
            raise yaml.YAMLError("holds an alias")
        return super().compose_node(parent, index)


class _OpenCVLoader(_PlainLoader):
    """YAML as OpenCV writes it; its own parser can take the process down on a damaged file, this one not."""


def _matrix(loader: yaml.SafeLoader, node: yaml.MappingNode) -> F64:
    parts = loader.construct_mapping(node, deep=True)
    return np.array(parts["data"], np.float64).reshape(int(parts["rows"]), int(parts["cols"]))


_OpenCVLoader.add_constructor("tag:yaml.org,2002:opencv-matrix", _matrix)


def _read_opencv(path: Path, text: str) -> Foreign:
    head, _, rest = text.partition("\n")
    try:
        data = yaml.load(rest if head.startswith("%YAML") else text, _OpenCVLoader)  # a SafeLoader
        matrix, coefficients = data["camera_matrix"], data["distortion_coefficients"]
    except (yaml.YAMLError, KeyError, TypeError, ValueError, OverflowError, RecursionError):
        raise UserError(
            str(path), "is no OpenCV YAML with camera_matrix and distortion_coefficients", "export it again"
        ) from None
    if not isinstance(matrix, np.ndarray) or not isinstance(coefficients, np.ndarray):
        raise UserError(str(path), "has no camera_matrix or no distortion_coefficients", "export it again")
    size = _number(data, "image_width"), _number(data, "image_height")
    if size[0] is None or size[1] is None:
        raise UserError(str(path), "does not tell image_width and image_height", "add both, in pixels")
    theta = _theta(path, matrix, coefficients.ravel())
    rms = _number(data, "avg_reprojection_error")
    covariance = data.get(COVARIANCE)
    if covariance is not None and (not isinstance(covariance, np.ndarray) or covariance.shape != (9, 9)):
        raise UserError(str(path), f"{COVARIANCE} must be a 9 x 9 matrix", "export it again")
    notes: tuple[str, ...] = ()
    if covariance is None:
        covariance = _from_poses(data, theta, rms)
        if covariance is not None:
            notes = ("covariance worked out from the poses and the mean error in the file",)
    return Foreign((int(size[0]), int(size[1])), theta, covariance, rms, "", notes, _day(data))


def _day(data: dict[str, Any]) -> datetime.date | None:
    """The day of the calibration: our own mark, or OpenCV's `calibration_time` (C's %c); None where none is told."""
    for text in (str(data.get(DATE, "")).strip(), str(data.get("calibration_time", "")).strip()):
        for form in ("%Y-%m-%d", "%a %b %d %H:%M:%S %Y", "%a %d %b %Y %H:%M:%S", "%Y-%m-%d %H:%M:%S"):
            try:
                return datetime.datetime.strptime(text, form).date()
            except ValueError:
                continue
    return None


def _sized(path: Path, foreign: Foreign) -> Foreign:
    width, height = foreign.size
    if not (1 <= width < MOST and 1 <= height < MOST):
        raise UserError(str(path), "tells of no picture's width and height", "mend image_width and image_height")
    return foreign


def _number(data: dict[str, Any], key: str) -> float | None:
    value = data.get(key)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < 1e9:
        return None
    return float(value)


def _from_poses(data: dict[str, Any], theta: F64, rms: float | None) -> F64 | None:
    """Covariance from the poses that OpenCV's calibration sample writes, or None."""
    poses = data.get("extrinsic_parameters")
    columns, rows, square = (_number(data, k) for k in ("board_width", "board_height", "square_size"))
    if rms is None or not isinstance(poses, np.ndarray) or poses.shape[1] != 6:
        return None
    if not (columns and rows and square) or not (1 < columns < 100 and 1 < rows < 100) or len(poses) > 1000:
        return None
    y, x = np.mgrid[0 : int(rows), 0 : int(columns)]
    board = np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1) * square
    free = free_columns(FULL if theta[0] == theta[1] else "fx, fy, c, k1, k2, p1, p2, k3")
    s = np.zeros((free.shape[1], free.shape[1]))
    for pose in poses:
        _, by_theta, by_pose, _ = project_board(theta, rotation(pose[:3]), pose[3:], board)
        a, b = by_theta.reshape(-1, 9) @ free, by_pose.reshape(-1, 6)
        s += a.T @ a - (a.T @ b) @ np.linalg.solve(b.T @ b, b.T @ a)
    # the mean error is the rms length of two-dimensional residuals; fitted unknowns took some of it away
    count = 2 * len(board) * len(poses)
    sigma2 = rms**2 / 2 * count / (count - len(s) - 6 * len(poses))
    return np.asarray(free @ scaled_inverse(s) @ free.T * sigma2)


def _read_ros(path: Path, text: str) -> Foreign:
    try:
        data = yaml.load(text, _PlainLoader)  # a SafeLoader
    except (yaml.YAMLError, ValueError, OverflowError, RecursionError):
        raise UserError(str(path), "is no YAML", "give an OpenCV or ROS camera YAML file") from None
    if not isinstance(data, dict) or "camera_matrix" not in data:
        raise UserError(str(path), "has no camera_matrix", "give an OpenCV or ROS camera YAML file")
    model = data.get("distortion_model", "plumb_bob")
    if model != "plumb_bob":
        raise UserError(str(path), f"has the distortion model {model!r}", "only plumb_bob is known; calibrate here")
    try:
        matrix = np.array(data["camera_matrix"]["data"], np.float64).reshape(3, 3)
        coefficients = np.array(data["distortion_coefficients"]["data"], np.float64).ravel()
        size = int(data["image_width"]), int(data["image_height"])
        known = data.get(COVARIANCE)
        covariance = None if known is None else np.array(known["data"], np.float64).reshape(9, 9)
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise UserError(str(path), f"is no camera_info file ({str(error)[:80]})", "write it again") from None
    return Foreign(
        size, _theta(path, matrix, coefficients), covariance, None, str(data.get("camera_name", "")), (), _day(data)
    )


def _theta(path: Path, matrix: F64, coefficients: F64) -> F64:
    k = np.zeros(5)
    k[: min(5, len(coefficients))] = coefficients[:5]
    if len(coefficients) > 5 and np.any(coefficients[5:] != 0):
        raise UserError(
            str(path),
            f"has {len(coefficients)} distortion coefficients",
            "only k1 k2 p1 p2 k3 are known; calibrate without the rational, prism and tilt terms",
        )
    if matrix.shape != (3, 3) or abs(matrix[0, 1]) > 1e-9 or not np.all(np.isfinite(matrix)):
        raise UserError(str(path), "camera_matrix must be 3 x 3, finite and without skew", "export it again")
    theta = np.array([matrix[0, 0], matrix[1, 1], matrix[0, 2], matrix[1, 2], *k])
    if not np.all(np.isfinite(theta)) or not np.all(np.abs(theta) < MOST) or not (theta[0] > 0 and theta[1] > 0):
        raise UserError(
            str(path), "holds a focal length or coefficient that no lens has", "f must be over 0 and all numbers finite"
        )
    return theta


def profile_of(foreign: Foreign, exif: ExifLike | None, day: datetime.date, source: str) -> LensProfile:
    """A profile of a foreign calibration, tied to the camera that a photo's EXIF names.

    exif : of a photo by that camera; None: a camera that leaves no EXIF, whose photos leave none either.
    day : of the calibration, not of the import, which would make an old lens young.
    """
    notes = list(foreign.notes)
    covariance = foreign.covariance
    if covariance is None:
        covariance = assumed_covariance(foreign.theta, foreign.size)
        notes.append(
            f"the file gives no uncertainty: assumed {100 * ASSUMED_FOCAL:.0f} % for f, "
            f"{100 * ASSUMED_CENTRE:.0f} % of the diagonal for c, {100 * ASSUMED_DISTORTION:.0f} % "
            f"for distortion"
        )
    words = (exif.make, exif.model, exif.lens_model) if exif else (foreign.name or None, None, None)
    return LensProfile(
        format=FORMAT,
        ident=ident_of(words, exif.focal_mm if exif else None, foreign.size),
        make=(exif.make if exif else None) or "",
        model=(exif.model if exif else None) or "",
        lens_model=(exif.lens_model if exif else None) or "",
        focal_mm=exif.focal_mm if exif else None,
        focal35_mm=exif.focal35_mm if exif else None,
        width=foreign.size[0],
        height=foreign.size[1],
        theta=tuple(foreign.theta.tolist()),
        covariance=tuple(tuple(r) for r in ((covariance + covariance.T) / 2).tolist()),
        free="imported",
        date=day.isoformat(),
        method=f"imported from {source}",
        board="unknown",
        rms_px=foreign.rms_px,
        held_out_px=None,
        coverage=None,
        notes=tuple(notes),
    )


def assumed_covariance(theta: F64, size: tuple[int, int]) -> F64:
    """A cautious covariance for a lens that came without one."""
    diagonal = float(np.hypot(*size))
    corner = diagonal / 2 / float(theta[0])
    steps = np.zeros((8, 9))
    steps[0, :2] = ASSUMED_FOCAL * theta[:2]
    steps[1, 2] = steps[2, 3] = ASSUMED_CENTRE * diagonal
    for row, at, power in ((3, 4, 2), (4, 5, 4), (5, 8, 6)):
        steps[row, at] = ASSUMED_DISTORTION * abs(theta[at]) + 0.005 / corner**power
    steps[6, 6] = steps[7, 7] = 0.0005
    return steps.T @ steps


def opencv_yaml(profile: LensProfile) -> str:
    """The profile as OpenCV YAML, covariance included."""
    store = cv2.FileStorage("lens.yml", cv2.FILE_STORAGE_WRITE | cv2.FILE_STORAGE_MEMORY | cv2.FILE_STORAGE_FORMAT_YAML)
    store.write("image_width", profile.width)
    store.write("image_height", profile.height)
    fx, fy, cx, cy, *k = profile.theta
    store.write("camera_matrix", np.array([[fx, 0, cx], [0, fy, cy], [0, 0, 1]]))
    store.write("distortion_coefficients", np.array(k).reshape(5, 1))
    if profile.rms_px is not None:
        store.write("avg_reprojection_error", profile.rms_px)
    store.write(COVARIANCE, np.array(profile.covariance))
    store.write(DATE, profile.date)
    # newer OpenCV heads the file "%YAML 1.2"; all versions read the old heading
    return re.sub(r"^%YAML[^\n]*", "%YAML:1.0", str(store.releaseAndGetString()))


def ros_yaml(profile: LensProfile) -> str:
    """The profile as ROS camera_info YAML (plumb_bob), covariance included."""
    fx, fy, cx, cy, *k = profile.theta

    def matrix(rows: int, columns: int, data: list[float]) -> dict[str, Any]:
        return {"rows": rows, "cols": columns, "data": [float(x) for x in data]}

    return str(
        yaml.safe_dump(
            {
                "image_width": profile.width,
                "image_height": profile.height,
                "camera_name": profile.ident,
                "camera_matrix": matrix(3, 3, [fx, 0, cx, 0, fy, cy, 0, 0, 1]),
                "distortion_model": "plumb_bob",
                "distortion_coefficients": matrix(1, 5, list(k)),
                "rectification_matrix": matrix(3, 3, [1, 0, 0, 0, 1, 0, 0, 0, 1]),
                "projection_matrix": matrix(3, 4, [fx, 0, cx, 0, 0, fy, cy, 0, 0, 0, 1, 0]),
                DATE: profile.date,
                COVARIANCE: matrix(9, 9, [x for row in profile.covariance for x in row]),
            },
            sort_keys=False,
        )
    )
