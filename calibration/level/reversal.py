"""The level reference's zero error by reversal: read, turn it end for end on the same supports, read again.

With the surface at angle a and the reference's zero error z, both counted with the same end up as seen from
where one stands, the first reading is a + z and the second a - z: z is half the difference, whatever a is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import msgspec
import numpy as np
from scipy.special import stdtrit

from shared.errors import UserError
from shared.files import write_whole
from shared.job.model import Level
from shared.quantity import Component, Quantity

FORMAT: Literal["ribangle level profile 1"] = "ribangle level profile 1"
COVER = 0.9545
"""What U = 2u is to cover: a normal error within two standard deviations."""
LARGEST_ZERO_DEG = 5.0
"""Beyond this the two readings were more likely counted in different senses than the level is off: a bar's vial shows
no more than 1 to 2 degrees (common practice, no source)."""
LEVEL_VALID_DAYS = 90.0
"""How long a level's zero is trusted: bars fall and laser levels are shaken (common practice, no source: instruments of
a workshop are checked a few times a year)."""


@dataclass(frozen=True)
class LevelProfile:
    """What a reversal found out about one level reference.

    zero_error_deg : what it reads on a true level, same sense as the readings (left end up, or nose up).
    u_deg : standard uncertainty of the zero error, widened so that 2u covers 95 % for few repeats.
    repeatability_deg : standard deviation of one reading; None where it was assumed. direct_deg, turned_deg :
    the readings. date : ISO 8601 day. valid_days : how long to trust it.
    """

    format: Literal["ribangle level profile 1"]
    ident: str
    kind: str
    zero_error_deg: float
    u_deg: float
    repeatability_deg: float | None
    resolution_deg: float
    direct_deg: tuple[float, ...]
    turned_deg: tuple[float, ...]
    date: str
    valid_days: float = LEVEL_VALID_DAYS
    method: str = ""
    notes: tuple[str, ...] = ()

    @property
    def source(self) -> str:
        """Names the profile as an uncertainty source."""
        return f"level:{self.ident}@{self.date}"

    @property
    def zero(self) -> Quantity:
        """The zero error with its uncertainty, degrees."""
        return Quantity(self.zero_error_deg, (Component("level reference", self.source, self.u_deg),))


def reversal(
    direct: Sequence[float],
    turned: Sequence[float],
    *,
    ident: str,
    date: str,
    kind: str = "level bar",
    resolution_deg: float = 0.0,
    repeatability_deg: float | None = None,
) -> LevelProfile:
    """Zero error from readings as laid down and turned end for end, degrees, in pairs.

    Both counted in one sense, by the end that is up as seen from one place. With two pairs or more u comes
    from their scatter, by Student's distribution (GUM G.3); one pair needs `repeatability_deg`, the standard
    deviation of one reading. Rounding to the display's resolution is added where the scatter is too small to
    average it out (GUM F.2.2.1). Raises UserError.

    direct, turned : (n,) readings, pair by pair. ident : the profile's name. date : ISO 8601 day. kind : what the
    reference is, in words. resolution_deg : step of the display; 0 where none is known.

    The surface's slope s stays and the error e turns with the reference: direct = s + e, turned = s - e, so e is half
    the difference.

    >>> bar = reversal([0.42, 0.44, 0.41], [0.18, 0.20, 0.19], ident="bar", date="2026-05-01")
    >>> round(bar.zero_error_deg, 3), round(bar.u_deg, 4)
    (0.117, 0.0075)
    """
    d, t = np.asarray(direct, np.float64), np.asarray(turned, np.float64)
    if len(d) != len(t) or len(d) == 0:
        raise UserError(
            f"{len(d)} readings as laid and {len(t)} turned",
            "they go in pairs, at least one",
            "give as many of one as of the other",
        )
    if not (np.all(np.isfinite(d)) and np.all(np.isfinite(t))):
        raise UserError("the readings", "must all be numbers", "give degrees")
    if resolution_deg < 0 or (repeatability_deg is not None and repeatability_deg <= 0):
        raise UserError(
            "resolution and repeatability", "must not be negative, nor the repeatability zero", "give degrees"
        )
    n, zeros = len(d), (d - t) / 2
    zero = float(zeros.mean())
    if abs(zero) > LARGEST_ZERO_DEG:
        raise UserError(
            f"zero error {zero:.1f} deg",
            f"no level reference is off by more than {LARGEST_ZERO_DEG:g} deg",
            "count both readings by the end that is up as seen from one place (--own-sign for a "
            "gauge "
            "that keeps its own sense)",
        )
    notes = []
    if n == 1:
        if repeatability_deg is None:
            raise UserError(
                "one pair of readings",
                "does not show how well they repeat",
                "turn it three times or more, or give --repeatability",
            )
        one, scatter = repeatability_deg, repeatability_deg / math.sqrt(2)
    else:
        spread = float(np.std(zeros, ddof=1))
        one = spread * math.sqrt(2)
        scatter = spread / math.sqrt(n) * float(stdtrit(n - 1, (1 + COVER) / 2)) / 2
        if repeatability_deg is not None:
            notes.append("the repeatability given was not used: the repeats show it")
    rounding = 0.0 if one >= 0.5 * resolution_deg else resolution_deg / math.sqrt(24)
    u = math.hypot(scatter, rounding)
    if u == 0:
        raise UserError(
            "the readings",
            "repeat exactly, so nothing is known of their uncertainty",
            "give --resolution, the smallest step the reference shows",
        )
    if n == 2:
        notes.append("two pairs leave the uncertainty itself poorly known: take three or more")
    return LevelProfile(
        FORMAT,
        ident,
        kind,
        zero,
        u,
        one if n > 1 else None,
        resolution_deg,
        tuple(d.tolist()),
        tuple(t.tolist()),
        date,
        method=f"reversal, {n} pair{'s' if n > 1 else ''}",
        notes=tuple(notes),
    )


def save_level(path: Path, profile: LevelProfile) -> None:
    """Write a profile as JSON, whole or not at all. Raises OSError.

    path : a file that may exist; it is replaced.
    """
    write_whole(path, msgspec.json.format(msgspec.json.encode(profile), indent=1) + b"\n")


def load_level(path: Path) -> LevelProfile:
    """Read a profile. Raises UserError for a missing, broken or doctored file.

    path : of a file that `save_level` wrote.
    """
    remedy = "make it again with `ribangle calibrate level`"
    try:
        raw = path.read_bytes()
        profile = msgspec.json.decode(raw, type=LevelProfile)
        keys = set(msgspec.json.decode(raw))
    except OSError as error:
        raise UserError(f"level profile {path}", f"cannot be read ({error.strerror})", remedy) from None
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise UserError(f"level profile {path}", f"is not a level profile ({error})", remedy) from None
    unknown = sorted(keys - set(LevelProfile.__dataclass_fields__))
    if unknown:
        raise UserError(f"level profile {path}", f"has the unknown key {unknown[0]!r}", "remove it")
    if not (math.isfinite(profile.zero_error_deg) and math.isfinite(profile.u_deg) and profile.u_deg > 0):
        raise UserError(f"level profile {path}", "zero_error_deg must be finite and u_deg positive", remedy)
    return profile


def level_zero(level: Level, folder: Path) -> Quantity:
    """The zero error of a job's level reference, degrees, to be taken off what is read against it.

    From its profile where the job names one, else from the bare numbers of the job. Raises UserError.

    level : of the job. folder : what the name of its profile is relative to.
    """
    if level.profile is not None:
        return load_level(folder / level.profile).zero
    return Quantity(level.zero_error_deg, (Component("level reference", "level:job", level.u_deg),))
