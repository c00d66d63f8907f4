"""What the bench knows, in files written whole: the photos that came in, hints, and the shop's notes.

All lies in NAME-shop beside NAME.toml: `photos/` (named by the beginning of their SHA-256, so a photo sent
twice is one file and no name from outside reaches the disk), `notes.json`, and the readings. A server that was
killed finds the same state again.
"""

from __future__ import annotations

import hashlib
import re
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import msgspec

from rigging.batch.hints_file import SUFFIX, hints_of
from rigging.page.notes import Notes
from shared.errors import UserError
from shared.files import write_whole
from vision.image.photo_file import PhotoError, sha256_of_photo
from vision.lines.hints import Hint, Pointed, hint_from_text

MOST_BYTES = 40_000_000
"""Largest photo taken, bytes."""
MOST_PHOTOS = 2000
"""Photos that one bench holds."""

_IDENT = re.compile(r"[0-9a-f]{16}")
_KINDS = ((b"\xff\xd8\xff", ".jpg"), (b"\x89PNG\r\n\x1a\n", ".png"), (b"II*\0", ".tif"), (b"MM\0*", ".tif"))


class Refused(Exception):
    """What came in is not taken; the text says why, in one line."""


@dataclass(frozen=True)
class Entry:
    """One photo on the bench. ident : beginning of its SHA-256. arrived : when, seconds since the epoch.

    problem : what keeps the hints beside it from being used, None where nothing does.
    """

    ident: str
    path: Path
    sha256: str
    arrived: float
    hints: tuple[str, ...]
    problem: str | None = None


class Bench:
    """The folder of one job's bench. Raises UserError where it cannot be made or its notes are damaged."""

    def __init__(self, job_file: Path) -> None:
        self.folder = job_file.absolute().parent / f"{job_file.stem}-shop"
        self.photos_folder = self.folder / "photos"
        self._hashes: dict[Path, tuple[int, str]] = {}
        self._lock = threading.RLock()
        try:
            self.photos_folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise UserError(
                str(self.folder), f"cannot be made ({error.strerror})", "give the job a folder that can be written to"
            ) from None
        self.notes()

    def add(self, data: bytes) -> tuple[str, bool]:
        """Keep a photo's bytes; its ident, and whether it is new. Raises Refused, and OSError for a full disk."""
        if not data:
            raise Refused("the file is empty")
        if len(data) > MOST_BYTES:
            raise Refused(f"the file is over {MOST_BYTES // 1_000_000} MB")
        ident = hashlib.sha256(data).hexdigest()[:16]
        path = self.photos_folder / (ident + ending(data))
        with self._lock:
            if path.exists():
                return ident, False
            if sum(1 for _ in self.photos_folder.iterdir()) >= 2 * MOST_PHOTOS or len(self.entries()) >= MOST_PHOTOS:
                raise Refused(f"the bench holds {MOST_PHOTOS} photos already; move {self.folder.name} away")
            write_whole(path, data)
        return ident, True

    def entries(self) -> list[Entry]:
        """The photos, in the order of their arrival."""
        found = [e for path in self.photos_folder.iterdir() if (e := self._entry(path)) is not None]
        return sorted(found, key=lambda e: (e.arrived, e.ident))

    def entry(self, ident: str) -> Entry | None:
        """The photo of this ident."""
        if not _IDENT.fullmatch(ident):
            return None
        found = (self._entry(path) for path in self.photos_folder.glob(f"{ident}.*"))
        return next((e for e in found if e is not None), None)

    def _entry(self, path: Path) -> Entry | None:
        if not _IDENT.fullmatch(path.stem) or path.suffix == SUFFIX or path.name.startswith("."):
            return None
        try:
            stat = path.lstat()
            sha256 = self._sha256(path, stat.st_mtime_ns)
        except (OSError, PhotoError):
            return None  # taken away meanwhile, or a link or pipe that somebody put there
        try:
            return Entry(path.stem, path, sha256, stat.st_mtime, hints_of(path, path.name, ()))
        except UserError as error:
            return Entry(path.stem, path, sha256, stat.st_mtime, (), str(error))

    def hint(self, ident: str, hint: Hint | Pointed) -> None:
        """Note what a person pointed at; it takes the place of an earlier hint of the same thing. Raises Refused."""
        entry = self.entry(ident)
        if entry is None:
            raise Refused("there is no such photo")
        hint_from_text(hint.text)
        with self._lock:
            kept = [h for h in entry.hints if hint_from_text(h).key != hint.key]
            write_whole(_beside(entry), "\n".join([*kept, hint.text]) + "\n")

    def unhint(self, ident: str) -> None:
        """Take back all that a person pointed at in a photo. Raises Refused."""
        entry = self.entry(ident)
        if entry is None:
            raise Refused("there is no such photo")
        with self._lock:
            _beside(entry).unlink(missing_ok=True)

    def notes(self) -> Notes:
        """The notes as kept. Raises UserError where they are damaged."""
        path = self.folder / "notes.json"
        try:
            return msgspec.json.decode(path.read_bytes(), type=Notes)
        except FileNotFoundError:
            return Notes()
        except (OSError, msgspec.MsgspecError) as error:
            raise UserError(str(path), f"cannot be read ({error})", "take it from a backup, or move it away") from None

    def note(self, change: Callable[[Notes], Notes]) -> Notes:
        """Change the notes, whole or not at all; the notes as they are then."""
        with self._lock:
            before = self.notes()
            after = change(before)
            if after != before:
                write_whole(self.folder / "notes.json", msgspec.json.encode(after))
            return after

    def _sha256(self, path: Path, changed: int) -> str:
        known = self._hashes.get(path)
        if known is None or known[0] != changed:
            known = changed, sha256_of_photo(path, follow=False)
            self._hashes[path] = known
        return known[1]


def _beside(entry: Entry) -> Path:
    return entry.path.with_name(entry.path.name + SUFFIX)


def ending(data: bytes) -> str:
    """The file ending for what the bytes begin with. Raises Refused where that is no photo."""
    for start, ending in _KINDS:
        if data.startswith(start):
            return ending
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return ".webp"
    if data[4:8] == b"ftyp":
        return ".avif" if data[8:12] in (b"avif", b"avis") else ".heic"
    raise Refused("not a photo of a known kind (JPEG, PNG, TIFF, WebP, HEIC, AVIF)")
