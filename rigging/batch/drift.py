"""What a batch was measured against, checked by the batch itself: lens, print and level profile (`calibration.drift`)."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from calibration.lens.profiles import LensProfile, load_lens, profiles_in
from calibration.level.reversal import load_level
from calibration.print.profile import age_flags as print_age_flags
from calibration.print.profile import known_print, load_print
from rigging.batch.readings_file import finite, known_or_nan
from shared.flags import Flag, FlagCode
from shared.job.model import Job
from shared.reading import Angle, Evidence, Made, Photo, Reading, SeenCard

Tree = dict[str, Any]


@dataclass(frozen=True)
class BatchDrift:
    """The check of one batch. by_lens : lens profile -> its doubts. every : doubts about all readings. told : the
    numbers behind them, one tree for each lens, for readings.json."""

    by_lens: Mapping[str, tuple[Flag, ...]]
    every: tuple[Flag, ...]
    told: tuple[Tree, ...]

    def flags_of(self, lens: str | None) -> tuple[Flag, ...]:
        """The doubts about a reading made with this lens."""
        return self.by_lens.get(lens or "", ()) + self.every


class BatchWatch:
    """Gathers what the check needs while a batch is read; keeps cards and dates only."""

    def __init__(self) -> None:
        self._seen: list[Reading] = []

    def see(self, tree: Tree) -> None:
        """Take note of one reading's tree."""
        photo, made = tree["photo"], tree["made"]
        cards = (tree["evidence"] or {}).get("cards", ())
        bare = [known_or_nan({**c, "rejected": ()}, SeenCard) for c in cards]
        seen = tuple(msgspec.convert(c, SeenCard) for c in bare)
        nothing = Angle(None, "")
        self._seen.append(Reading(
            Photo(photo["name"], photo["sha256"], photo["width"], photo["height"], photo["taken"], None), None,
            nothing, nothing, None, None, Made(made["version"], made["lens"], None),
            evidence=Evidence((photo["width"], photo["height"]), seen)))  # fmt: skip

    def check(self, job: Job, earlier: Sequence[Reading] = ()) -> BatchDrift:
        """Hold the batch against the profiles it was measured with. earlier : readings of a former batch.

        Raises UserError for a profile that cannot be used.
        """
        from calibration.drift import check_batch
        from vision.cards.spec import SPECS

        prints = known_print(job.prints, job.folder)
        by_lens, told = {}, []
        seen = sorted(self._seen, key=lambda r: (r.photo.taken or "", r.photo.name, r.photo.sha256))
        for profile in _profiles(job, {r.made.lens for r in seen if r.made.lens}):
            mine = [r for r in seen if r.made.lens == profile.ident]
            before = [r for r in earlier if r.made.lens == profile.ident]
            drift = check_batch(mine, profile, SPECS, before, prints)
            by_lens[profile.ident] = drift.flags
            told.append({"lens": profile.ident, "lens_date": profile.date, **finite(msgspec.to_builtins(drift))})
        return BatchDrift(by_lens, tuple(self._ages(job)), tuple(told))

    def _ages(self, job: Job) -> Iterable[Flag]:
        """Print and level profiles that were too old when the photos were taken."""
        taken = [r.photo.taken for r in self._seen]
        if job.prints.profile is not None:
            yield from print_age_flags(load_print(job.folder / job.prints.profile), taken)
        if job.level.profile is not None:
            level = load_level(job.folder / job.level.profile)
            age = _age(level.date, taken)
            if age > level.valid_days:
                yield FlagCode.LEVEL_PROFILE_OLD.flag(
                    f"the level profile of {level.date} was {age:.0f} days old when the photos were taken"
                )


def _age(date: str, taken: Sequence[str | None]) -> float:
    """Days from a profile's date to the last photo; NaN where the photos do not tell."""
    days = sorted(t[:10] for t in taken if t)
    try:
        return (datetime.date.fromisoformat(days[-1]) - datetime.date.fromisoformat(date)).days
    except (IndexError, ValueError):
        return math.nan


def _profiles(job: Job, named: set[str]) -> list[LensProfile]:
    """The lens profiles that readings name, by name; each once."""
    if job.lens != "auto":
        found = [load_lens(job.folder / job.lens)] if (job.folder / job.lens).is_file() else []
    else:
        folder = Path(job.folder / job.lens_folder)
        found = [p for _, p in profiles_in(folder)] if folder.is_dir() else []
    return sorted({p.ident: p for p in found if p.ident in named}.values(), key=lambda p: p.ident)
