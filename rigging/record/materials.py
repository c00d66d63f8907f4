"""All that a survey is made from, as text and trees: evaluated live and from the record by the same steps."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from calibration.gauge.profile import GaugeProfile
from rigging.order.happened import Happened, Told
from rigging.survey.model import RootSetting, Stage, Survey, evaluate
from shared.errors import UserError
from shared.gauge.csv_file import parse_gauge_readings
from shared.gauge.table import decode
from shared.job.file import parse_job
from shared.reading import Reading


@dataclass(frozen=True)
class TextFile:
    """A text file as it was: its path as given, its text, the SHA-256 of its bytes."""

    path: str
    text: str
    sha256: str


@dataclass(frozen=True)
class PhotoFile:
    """A photo that was measured: name, path (relative to the job file's folder if below it), SHA-256."""

    name: str
    path: str
    sha256: str


@dataclass(frozen=True)
class ProfileFile:
    """A lens or level profile as a file: its path and its SHA-256."""

    path: str
    sha256: str


@dataclass(frozen=True)
class Asked:
    """How the evaluation was asked for. now : local time, ISO 8601. set_aside : photo -> reason.

    turned : station -> local time, ISO 8601, of those turned since the inclinometer's readings were taken.
    moved, came, told : for the steps of the set-up, as `rigging.order.happened.Happened` has them.
    """

    now: str
    root_setting: RootSetting | None = None
    stage: Stage | None = None
    set_aside: dict[str, str] = field(default_factory=dict)
    turned: dict[str, str] = field(default_factory=dict)
    moved: dict[str, str] = field(default_factory=dict)
    came: dict[str, str] = field(default_factory=dict)
    told: dict[str, Told] = field(default_factory=dict)

    @property
    def happened(self) -> Happened:
        """What the states of the set-up's steps depend on."""
        return Happened(self.turned, self.moved, self.came, self.told)


@dataclass(frozen=True)
class Materials:
    """Job, inclinometer readings and profile, photos, profiles, and how it was asked."""

    job: TextFile
    gauge: TextFile | None
    gauge_profile: GaugeProfile | None
    photos: tuple[PhotoFile, ...]
    profiles: tuple[ProfileFile, ...]
    asked: Asked


def gather(
    job_file: Path,
    photos: Sequence[PhotoFile],
    profiles: Sequence[Path],
    asked: Asked,
    gauge_profile: GaugeProfile | None = None,
) -> Materials:
    """Read what the job names. Raises UserError where a file is missing or is no text."""
    job = text_file(job_file)
    told = parse_job(job.text, job_file.name, job_file.parent).gauge.readings
    gauge = None if told is None else text_file(job_file.parent / told, told)
    kept = tuple(ProfileFile(relative(p, job_file.parent), _sha(_bytes(p))) for p in profiles)
    return Materials(job, gauge, gauge_profile, tuple(photos), kept, asked)


def evaluated(materials: Materials, readings: Sequence[Reading], folder: Path = Path()) -> Survey:
    """The survey that these materials and readings give: the same today and in ten years."""
    job = parse_job(materials.job.text, materials.job.path, folder)
    gauge = None
    if materials.gauge is not None:
        gauge = parse_gauge_readings(
            materials.gauge.text, [s.name for s in job.stations], materials.gauge.path, job.gauge_lines
        )
    asked = materials.asked
    survey = evaluate(
        replace(job, stage=asked.stage or job.stage),
        readings,
        gauge,
        gauge_profile=materials.gauge_profile,
        set_aside=asked.set_aside,
        root_setting=asked.root_setting,
        now=datetime.fromisoformat(asked.now),
        happened=asked.happened,
    )
    provenance = replace(
        survey.provenance,
        job_sha256=materials.job.sha256,
        gauge_sha256=materials.gauge.sha256 if materials.gauge else None,
    )
    return replace(survey, provenance=provenance)


def text_file(path: Path, shown: str | None = None) -> TextFile:
    """A text file with its hash. Raises UserError where it is missing."""
    raw = _bytes(path)
    return TextFile(shown or path.name, decode(raw, str(path)), _sha(raw))


def photo_files(paths: Mapping[str, Path], readings: Sequence[Reading], folder: Path) -> tuple[PhotoFile, ...]:
    """The photo files of readings. paths : SHA-256 -> where the photo lies."""
    files = (
        PhotoFile(r.photo.name, relative(paths[sha], folder) if (sha := r.photo.sha256) in paths else "", sha)
        for r in readings
    )
    return tuple(dict.fromkeys(files))  # a photo of several ribs has several readings


def relative(path: Path, folder: Path) -> str:
    """The path from the folder where it lies below it, else absolute; always with forward slashes."""
    whole, base = path.absolute(), folder.absolute()
    return whole.relative_to(base).as_posix() if whole.is_relative_to(base) else whole.as_posix()


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise UserError(
            str(path),
            f"cannot be read ({error.strerror})",
            "correct its path in the job, or put the file back",
        ) from None


def _sha(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()
