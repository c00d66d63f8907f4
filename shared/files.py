"""Reading and writing files: whole or not at all."""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

PART_PREFIX = ".part-"
"""How the name of a file begins that is not written to its end yet."""


def write_whole(path: Path, data: bytes | str) -> None:
    """Write a file so that a reader sees the old content or the new, never a part.

    The bytes go to a temporary file in the same folder, are flushed to the disk, then take the name.
    Raises OSError when the folder is missing, read-only or full; nothing is left behind then.

    path : of the file; its folder must exist. data : text is written as UTF-8.
    """
    with writing_whole(path) as stream:
        stream.write(data.encode("utf-8") if isinstance(data, str) else data)


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's bytes, hexadecimal.

    path : of a file of any size; it is read in pieces. Raises OSError.
    """
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@contextmanager
def writing_whole(path: Path) -> Iterator[IO[bytes]]:
    """As `write_whole`, for content that is written piece by piece and need not fit in memory.

    path : as there. The block gets a binary file; where the block raises, the old file stays as it was.
    """
    part = path.with_name(f"{PART_PREFIX}{secrets.token_hex(8)}.tmp")  # short: the name itself may be near the limit
    try:
        with part.open("xb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
