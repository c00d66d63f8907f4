"""Reading a photo's bytes from a file without hanging or choking on what else may stand in a folder."""

from __future__ import annotations

import errno
import hashlib
import io
import os
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

MAX_BYTES = 400_000_000
"""Largest file read, bytes (an uncompressed 16-bit colour picture of 60 megapixels)."""

SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".hif", ".avif"}
)
"""File name endings taken for photos when a folder is searched (lower case)."""

_JOINERS = "\u200c\u200d"


class PhotoError(Exception):
    """A photo that cannot be used, and why, in one line.

    sha256 : of the file's bytes, "" where they could not be read. width, height : 0 where unknown.
    """

    def __init__(self, reason: str, *, sha256: str = "", width: int = 0, height: int = 0) -> None:
        self.reason, self.sha256, self.width, self.height = reason, sha256, width, height
        super().__init__(reason)

    def __reduce__(self) -> tuple[Any, ...]:
        """Keep the facts when the error crosses from a worker process."""
        facts = {"sha256": self.sha256, "width": self.width, "height": self.height}
        return _photo_error, (self.reason, facts)


def _photo_error(reason: str, facts: Mapping[str, Any]) -> PhotoError:
    return PhotoError(reason, **facts)


def read_bytes(path: Path, *, follow: bool = True) -> bytes:
    """The whole content of a regular file. follow : False refuses a link. Raises PhotoError with the reason.

    path : a folder, a pipe or a device is refused.
    """
    with _opened(path, follow) as stream:
        return stream.read(MAX_BYTES)


def sha256_of_photo(path: Path, *, follow: bool = True) -> str:
    """SHA-256 of the bytes that `read_bytes` gives, hexadecimal. Raises PhotoError.

    path, follow : as there.
    """
    with _opened(path, follow) as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@contextmanager
def _opened(path: Path, follow: bool) -> Iterator[io.BufferedReader]:
    """A regular file of bearable size, opened without waiting, so that a pipe cannot hang a batch.

    What it is is asked of the open file: nothing can be put in its place between the question and the reading.
    """
    flags = os.O_RDONLY
    for name in ("O_NONBLOCK", "O_BINARY", "O_CLOEXEC", *(() if follow else ("O_NOFOLLOW",))):  # where there are any
        flags |= getattr(os, name, 0)
    try:
        handle = os.open(path, flags)
    except FileNotFoundError:
        lost = path.is_symlink()
        raise PhotoError("a link that points to nothing" if lost else "there is no such file") from None
    except IsADirectoryError:
        raise PhotoError("a folder, not a photo") from None
    except PermissionError:
        raise PhotoError("a folder, not a photo" if path.is_dir() else "no permission to read it") from None
    except (OSError, ValueError) as error:
        if not follow and isinstance(error, OSError) and error.errno == errno.ELOOP:
            raise PhotoError("a link, and links are not followed here") from None
        raise PhotoError(f"cannot be opened ({text_of(error)})") from None
    try:
        facts = os.fstat(handle)
        if stat.S_ISDIR(facts.st_mode):
            raise PhotoError("a folder, not a photo")
        if not stat.S_ISREG(facts.st_mode):
            raise PhotoError("not a regular file (a pipe, socket or device)")
        if facts.st_size > MAX_BYTES:
            raise PhotoError(f"{facts.st_size / 1e6:.0f} MB; files over {MAX_BYTES / 1e6:.0f} MB are not read")
        with os.fdopen(handle, "rb", closefd=False) as stream:
            yield stream
    except OSError as error:
        raise PhotoError(f"cannot be read ({text_of(error)})") from None
    finally:
        os.close(handle)


def text_of(error: BaseException) -> str:
    """An error's words in one short line."""
    words = (error.strerror or str(error)) if isinstance(error, OSError) else str(error)
    return " ".join(words.split())[:120] or type(error).__name__


def shown_name(path: Path) -> str:
    """A file's name fit for a table, a terminal and UTF-8: what cannot be printed is written as an escape.

    Bytes that are no UTF-8, control characters and the marks that turn the writing direction round are
    escaped; joiners that some scripts need in words stay.

    path : any; only its last part is shown.
    """
    name = os.fsencode(path.name).decode("utf-8", "backslashreplace")
    return "".join(c if c.isprintable() or c in _JOINERS else c.encode("unicode_escape").decode("ascii") for c in name)
