"""Keeps an inclinometer's calibration profile in a JSON file."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path

import msgspec
import numpy as np

from calibration.gauge.profile import GaugeProfile
from shared.errors import UserError
from shared.files import write_whole

FORMAT = "ribangle gauge profile 1"


def save_gauge(path: Path, profile: GaugeProfile) -> None:
    """Write a profile, whole or not at all. Raises OSError."""
    content = {"format": FORMAT, **msgspec.to_builtins(profile)}
    write_whole(path, msgspec.json.format(msgspec.json.encode(content), indent=1) + b"\n")


def load_gauge(path: Path) -> GaugeProfile:
    """Read a profile. Raises UserError for a missing, broken or doctored file."""
    name, remedy = f"gauge profile {path}", "calibrate again with `ribangle calibrate gauge`"
    try:
        content = msgspec.json.decode(path.read_bytes())
    except OSError as error:
        remedy = "give the path of a profile made by `ribangle calibrate gauge`"
        raise UserError(name, f"cannot be read ({error.strerror})", remedy) from None
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        raise UserError(name, "is not a gauge profile", remedy) from None
    if not isinstance(content, dict) or content.pop("format", None) != FORMAT:
        raise UserError(name, f'is not a gauge profile (no format "{FORMAT}")', remedy)
    unknown = sorted(set(content) - set(GaugeProfile.__dataclass_fields__))
    if unknown:
        raise UserError(name, f"has the unknown key {unknown[0]!r}", "remove it")
    try:
        profile = msgspec.convert(content, GaugeProfile)
        datetime.fromisoformat(profile.made)
    except (msgspec.ValidationError, ValueError) as error:
        raise UserError(name, f"has a wrong value ({error})", remedy) from None
    _check(profile, name, remedy)
    return profile


def _check(profile: GaugeProfile, name: str, remedy: str) -> None:
    """Refuse values no gauge can have."""
    c = np.array(profile.covariance)
    if c.shape != (3, 3) or not np.isfinite(c).all() or not np.allclose(c, c.T, rtol=1e-9, atol=0):
        raise UserError(name, "covariance must be 3 x 3, finite and symmetric", remedy)
    if np.linalg.eigvalsh(c).min() < -1e-12 or c[0, 0] <= 0:
        raise UserError(name, "covariance must not be negative, nor the zero error known exactly", remedy)
    if not (math.isfinite(profile.zero_deg) and abs(profile.scale) < 0.5 and profile.resolution_deg > 0
            and profile.repeatability_deg >= 0 and profile.valid_days > 0):  # fmt: skip
        raise UserError(name, "zero, scale, resolution, repeatability or valid_days is out of range", remedy)
