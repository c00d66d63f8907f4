"""The print profile: what a measured print left behind, kept in one JSON file; and what an unmeasured one is worth."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import msgspec

from shared.errors import UserError
from shared.files import write_whole
from shared.flags import Flag, FlagCode
from shared.job.model import CardPrint

FORMAT: Literal["ribangle print profile 1"] = "ribangle print profile 1"
U_STRETCH = 0.0025
"""Standard uncertainty of an unmeasured print's width over height: office printers, laser and ink, pull paper through
with 0.1 to 0.5 % of stretch, and damp paper swells across its grain (common practice, no source)."""
U_SKEW_DEG = 0.05
"""The same of its corners: print head or light beam against the paper's way, 0.2 mm in 200 (common practice, no
source)."""
PAGE_TO_PAGE = 5e-4
"""Between one page and the next of the same printer, and between the days (common practice, no source)."""
PRINT_VALID_DAYS = 180.0
"""How long a measured print is trusted: paper swells and shrinks with the seasons (common practice, no source)."""


@dataclass(frozen=True)
class PrintProfile:
    """What the measured bars and diagonals of a print said.

    scale, stretch, skew_deg and their u : as `calibration.print.scale.PrintScale`; None where not measured.
    across_mm, down_mm, diagonals_mm : as measured. nominal_mm : of across and down as drawn. sides_mm : of the
    rectangle whose diagonals were measured. date : ISO 8601 day. valid_days : how long to trust it.
    """

    format: Literal["ribangle print profile 1"]
    ident: str
    scale: float
    u_scale: float
    stretch: float | None
    u_stretch: float | None
    skew_deg: float | None
    u_skew_deg: float | None
    tool: str
    across_mm: tuple[float, ...]
    down_mm: tuple[float, ...]
    diagonals_mm: tuple[float, ...]
    nominal_mm: tuple[float, float]
    sides_mm: tuple[float, ...]
    date: str
    valid_days: float = PRINT_VALID_DAYS
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class KnownPrint:
    """A print as far as it is known: measured, or taken as printers are.

    scale, u_scale : printed over nominal length. stretch, u_stretch : down the sheet against across, relative.
    skew_deg, u_skew_deg : positive where the diagonal from the lower left is the longer. source : names it as an
    uncertainty source. text : for the record. measured : whether stretch or corners were. thickness_mm, u_thickness_mm : how far
    the printed face stands before the face it lies on.
    """

    scale: float
    u_scale: float
    stretch: float
    u_stretch: float
    skew_deg: float
    u_skew_deg: float
    source: str
    text: str
    measured: bool = False
    thickness_mm: float = CardPrint.thickness_mm
    u_thickness_mm: float = CardPrint.u_thickness_mm

    @property
    def aspect(self) -> float:
        """What width over height exceeds 1 by."""
        return 1 / (1 + self.stretch) - 1


def known_print(prints: CardPrint, folder: Path) -> KnownPrint:
    """The job's print: its profile's where it names one, else the bare numbers; what is not measured as printers are.

    Page-to-page differences are added to what was measured on one page. Raises UserError.

    prints : of the job. folder : what the name of its profile is relative to.
    """
    source, name = "card print", "of the job"
    if prints.profile is not None:
        p = load_print(folder / prints.profile)
        prints = replace(
            prints, scale=p.scale, u_scale=p.u_scale, stretch=p.stretch, u_stretch=p.u_stretch,
            skew_deg=p.skew_deg, u_skew_deg=p.u_skew_deg,
        )  # fmt: skip
        source, name = f"print:{p.ident}@{p.date}", f"{p.ident} of {p.date}"
    stretch, u_stretch, skew, u_skew = 0.0, U_STRETCH, 0.0, U_SKEW_DEG
    said = []
    if prints.stretch is not None and prints.u_stretch is not None:
        stretch, u_stretch = prints.stretch, math.hypot(prints.u_stretch, PAGE_TO_PAGE)
        said.append("stretch measured")
    if prints.skew_deg is not None and prints.u_skew_deg is not None:
        skew, u_skew = prints.skew_deg, math.hypot(prints.u_skew_deg, math.degrees(PAGE_TO_PAGE))
        said.append("corners measured")
    return KnownPrint(
        prints.scale, prints.u_scale, stretch, u_stretch, skew, u_skew, source,
        f"{name}: {', '.join(said) or 'not measured'}", bool(said), prints.thickness_mm, prints.u_thickness_mm,
    )  # fmt: skip


def save_print(path: Path, profile: PrintProfile) -> None:
    """Write a profile as JSON, whole or not at all. Raises OSError.

    path : a file that may exist; it is replaced.
    """
    write_whole(path, msgspec.json.format(msgspec.json.encode(profile), indent=1) + b"\n")


def load_print(path: Path) -> PrintProfile:
    """Read a profile. Raises UserError for a missing, broken or doctored file.

    path : of a file that `save_print` wrote.
    """
    thing, remedy = f"print profile {path}", "make it again with `ribangle calibrate print`"
    try:
        raw = path.read_bytes()
        profile = msgspec.json.decode(raw, type=PrintProfile)
        keys = set(msgspec.json.decode(raw))
    except OSError as error:
        raise UserError(thing, f"cannot be read ({error.strerror})", remedy) from None
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise UserError(thing, f"is not a print profile ({error})", remedy) from None
    # msgspec passes over unknown keys in dataclasses; a mistyped key must not be lost in silence
    unknown = sorted(keys - set(PrintProfile.__dataclass_fields__))
    if unknown:
        raise UserError(thing, f"has the unknown key {unknown[0]!r}", "remove it")
    for name, value, u, most in (
        ("scale", profile.scale - 1, profile.u_scale, 0.1),
        ("stretch", profile.stretch, profile.u_stretch, 0.1),
        ("skew_deg", profile.skew_deg, profile.u_skew_deg, 6.0),
    ):
        if (value is None) != (u is None):
            raise UserError(thing, f"{name} and its u go together", remedy)
        if value is not None and u is not None and not (abs(value) <= most and 0 < u <= most):
            raise UserError(thing, f"{name} is out of range, or its u not positive", remedy)
    try:
        datetime.date.fromisoformat(profile.date)
    except ValueError:
        raise UserError(thing, f"date {profile.date!r} is no day", remedy) from None
    return profile


def age_flags(profile: PrintProfile, taken: Sequence[str | None]) -> tuple[Flag, ...]:
    """Flags for a print that was measured too long before the photos were taken.

    profile : of the print, with its date and the days that it is trusted. taken : the photos' times, ISO 8601; None
    where a photo names none.
    """
    days = sorted(t[:10] for t in taken if t)
    try:
        age = (datetime.date.fromisoformat(days[-1]) - datetime.date.fromisoformat(profile.date)).days
    except (IndexError, ValueError):
        return ()
    if age <= profile.valid_days:
        return ()
    return (
        FlagCode.PRINT_PROFILE_OLD.flag(
            f"the print profile of {profile.date} was {age} days old when the photos were taken (paper swells and "
            "shrinks)"
        ),
    )
