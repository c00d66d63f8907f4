"""Reading and writing files: whole or not at all."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path


def write_whole(path: Path, data: bytes | str) -> None:
    """Write a file so that a reader sees the old content or the new, never a part.

    The bytes go to a temporary file in the same folder, are flushed to the disk, then take the name.
    Raises OSError when the folder is missing, read-only or full; nothing is left behind then.
    """
    raw = data.encode("utf-8") if isinstance(data, str) else data
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".part-", suffix=".tmp")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(raw)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's bytes, hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
