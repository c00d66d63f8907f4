"""Where a batch keeps its results: each reading in a file of its own, named by what it was made from.

The key of a reading is the SHA-256 of the photo's own SHA-256, its name, the job as far as it bears on a
reading, the profiles, the code and the libraries. Same key, same reading: so an unchanged photo is not
measured again, an interrupted batch goes on, and nothing stale is ever taken for fresh.
"""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as installed
from pathlib import Path
from typing import Any

import msgspec

from shared.errors import UserError
from shared.files import PART, sha256_of, write_whole
from shared.job.model import Gauge, Job
from shared.version import version

OVERLAYS = "overlays"
_KEPT = ".kept"
_CODE = ("shared", "calibration", "vision")
_LIBRARIES = ("numpy", "scipy", "opencv-python", "opencv-python-headless", "pillow", "pillow-heif", "simplejpeg")


@dataclass(frozen=True)
class Store:
    """The output folder of a batch: `readings.json`, `readings.csv`, `overlays/`; `.kept/` is the tool's.

    made_from : fingerprint that this run's readings share, see `fingerprint`.
    """

    folder: Path
    made_from: str

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Make the folders and keep every other run out of them; a run that dies lets go of the lock.

        Raises UserError when another run is at work, or the folder cannot be written to.
        """
        from filelock import FileLock, Timeout

        try:
            self.make_folders()
            lock = FileLock(self.folder / _KEPT / "lock", timeout=0)
            lock.acquire()
        except Timeout:
            raise UserError(
                str(self.folder),
                "another run is writing to this folder",
                "wait for it to end, or give another folder with --out",
            ) from None
        except OSError as error:
            raise cannot_write(self.folder, error) from None
        try:
            self._sweep()
            yield
        finally:
            lock.release()

    def make_folders(self) -> None:
        """Make the folders that readings and overlays go to. Raises OSError."""
        for folder in (self.folder / OVERLAYS, self._records):
            folder.mkdir(parents=True, exist_ok=True)

    def get(self, key: str) -> dict[str, Any] | None:
        """The tree of a finished reading; None where there is none, or it or its overlay is damaged."""
        try:
            data = self._record(key).read_bytes()
            body, digest = data[:-65], data[-65:].strip()
            if hashlib.sha256(body).hexdigest().encode() != digest:
                return None
            tree = msgspec.json.decode(body, type=dict[str, Any])
            overlay = tree["overlay"]
            return None if overlay and not (self.folder / overlay).is_file() else tree
        except (OSError, msgspec.DecodeError, KeyError, TypeError):
            return None

    def put(self, key: str, body: bytes, overlay: bytes | None, overlay_path: str) -> None:
        """Keep a reading (its tree as JSON) and its overlay picture. Raises UserError when it cannot.

        The overlay goes first: where a reading is kept, its overlay is there.
        """
        record = self._record(key)
        try:
            if overlay is not None:
                write_whole(self.folder / overlay_path, overlay)
            write_whole(record, body + b"\n" + hashlib.sha256(body).hexdigest().encode())
        except OSError as error:
            raise cannot_write(self.folder, error) from None

    def prune(self, overlays: set[str]) -> None:
        """Take away what belongs to no reading of this run, or to another state of job, profiles and code."""
        for path in (self.folder / OVERLAYS).iterdir():
            ours = re.fullmatch(r".*-[0-9a-f]{8}-angles\.jpg", path.name, re.DOTALL)
            if ours and f"{OVERLAYS}/{path.name}" not in overlays:
                path.unlink(missing_ok=True)
        for path in (self.folder / _KEPT).iterdir():
            if re.fullmatch(r"[0-9a-f]{16}", path.name) and path != self._records:
                shutil.rmtree(path)

    @property
    def _records(self) -> Path:
        return self.folder / _KEPT / self.made_from[:16]

    def _record(self, key: str) -> Path:
        return self._records / f"{key}.json"

    def _sweep(self) -> None:
        """Take away what a killed run left half-written."""
        for place in (self.folder, self.folder / OVERLAYS, self._records):
            for part in place.glob(f"{PART}*.tmp"):
                part.unlink(missing_ok=True)


def cannot_write(folder: Path, error: OSError) -> UserError:
    """A full disk, a read-only folder and the like, in one line."""
    import errno

    full = error.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", None), errno.EFBIG)
    remedy = (
        "make room on the disk and run the same command again, what was finished is kept"
        if full
        else "give a folder that can be written to with --out"
    )
    return UserError(str(folder), f"cannot be written to ({error.strerror or error})", remedy)


def overlay_path(name: str, key: str) -> str:
    """Where the overlay of a photo goes, relative to the output folder.

    The photo's name, cut to what every file system takes (no separators, no characters or device names that
    Windows keeps for itself), and the beginning of the key, so that no two photos share a file.
    """
    stem = re.sub(r'[\x00-\x1f<>:"/\\|?*%&#;\'`$!~]+', "_", name.rsplit(".", 1)[0]).strip(" ._") or "photo"
    while len(stem.encode("utf-8")) > 120:
        stem = stem[:-1]
    if re.fullmatch(r"(?i)con|prn|aux|nul|com\d|lpt\d", stem.split(".")[0]):
        stem = f"_{stem}"
    return f"{OVERLAYS}/{stem}-{key[:8]}-angles.jpg"


def reading_key(photo_sha256: str, name: str, made_from: str) -> str:
    """The key of a reading, hexadecimal. made_from : see `fingerprint`."""
    parts = (photo_sha256, hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest(), made_from)
    return hashlib.sha256("\n".join(parts).encode("ascii")).hexdigest()


def fingerprint(job: Job, settings: tuple[str, ...] = ()) -> str:
    """Digest of all that bears on a reading beside the photo: job, profiles, code, libraries, settings."""
    parts = [_bare(job), *_profiles(job), code_digest(), *settings]
    return _digest(parts)


def made_with(job: Job) -> dict[str, str]:
    """What readings made now would be made with: digests of the job, of the profiles and of the tool.

    Kept with a batch's readings: `rigging.batch.readings_file.what_changed` lists what no longer fits.
    """
    return {"job": job_digest(job), "profiles": _digest([*_profiles(job)]), "tool": code_digest()}


def job_digest(job: Job) -> str:
    """Digest of the job as far as it bears on a reading."""
    return _digest([_bare(job)])


def _digest(parts: Sequence[str]) -> str:
    return hashlib.sha256("\n".join(parts).encode("utf-8")).hexdigest()


def _bare(job: Job) -> str:
    """The job as far as it bears on a reading.

    What it says of inclinometer, jig, glue, spanwise level, order and stage of work and units shown does not.
    """
    bare = replace(
        job,
        wing=replace(job.wing, dihedral_tolerance_deg=None),
        folder=Path(),
        gauge=Gauge(),
        jigs=(),
        glue=None,
        heights=(),
        spar_levels=(),
        pairs=(),
        typed=(),
        steps=(),
        stage=None,
        length_unit="mm",
        decimal=".",
        inch_fractions=False,
        dimensions=tuple(replace(d, design=None, tolerance=None, side="centre") for d in job.dimensions),
    )
    return msgspec.json.encode(bare, enc_hook=str).decode()


@cache
def code_digest() -> str:
    """Digest of the code and networks that read a photo, of its version and of the libraries under it."""
    home = Path(__file__).resolve().parents[2]
    digest = hashlib.sha256(version().encode())
    for package in _CODE:
        for path in sorted(p for p in (home / package).rglob("*") if p.suffix in (".py", ".onnx", ".json")):
            digest.update(path.relative_to(home).as_posix().encode() + b"\0" + path.read_bytes())
    for library in _LIBRARIES:
        try:
            digest.update(f"{library} {installed(library)}\n".encode())
        except PackageNotFoundError:
            digest.update(f"{library} -\n".encode())
    return digest.hexdigest()


def _profiles(job: Job) -> Iterator[str]:
    """A line for each profile file that the job may use."""
    places = [job.folder / name for name in (job.level.profile, job.prints.profile) if name]
    if job.lens != "auto":
        places.append(job.folder / job.lens)
    folder = job.folder / job.lens_folder
    if folder.is_dir():
        places += sorted(folder.glob("*.json"))
    for path in places:
        try:
            yield f"{path.name} {sha256_of(path)}"
        except OSError:
            yield f"{path.name} -"
