"""Whether the record still stands: seals, chain, photos, profiles, and the verdict worked out again."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from rigging.batch.readings_file import finite
from rigging.record.chain import Fault, Record, Standing, load_record, numbers, record_folder, standing_of, summary
from shared.errors import UserError
from shared.files import sha256_of
from shared.version import version

Kind = Literal["broken", "changed", "missing", "note"]

SAME = 1e-9
"""Degrees by which a number worked out again may differ (another machine's last digits)."""


@dataclass(frozen=True)
class Trouble:
    """One thing that is not as it was. survey : its number. kind : "note" is no fault."""

    survey: int
    kind: Kind
    thing: str
    text: str


def verify(job_file: Path, only: int | None = None) -> tuple[Trouble, ...]:
    """Check every kept survey of a job (or one): nothing found means that each verdict stands as recorded."""
    folder = record_folder(job_file)
    standing = standing_of(folder)
    found = [_trouble(f) for f in standing.faults if only is None or f.survey == only]
    for number, path in numbers(folder).items():
        if only is None or number == only:
            found += _check(number, path, standing, job_file)
    return tuple(found)


def _trouble(fault: Fault) -> Trouble:
    gone = "missing" in fault.text or "taken out" in fault.text
    return Trouble(fault.survey, "missing" if gone else "broken", f"{fault.survey:04d}.json", fault.text)


def _check(number: int, path: Path, standing: Standing, job_file: Path) -> Iterator[Trouble]:
    try:
        record = load_record(path, standing)
    except UserError as error:
        yield Trouble(number, "broken", path.name, str(error))
        return
    yield from _files(record, job_file.parent)
    yield from _job(record, job_file)
    yield from _again(record)


def _files(record: Record, folder: Path) -> Iterator[Trouble]:
    for photo in record.materials.photos:
        yield from _file(record.number, f"photo {photo.name}", folder, photo.path, photo.sha256)
    hashed = {p.sha256 for p in record.materials.photos}
    for reading in record.readings:
        if reading.photo.sha256 and reading.photo.sha256 not in hashed:
            yield Trouble(
                record.number,
                "broken",
                f"photo {reading.photo.name}",
                "its reading is of a photo that the record does not list",
            )
    for profile in record.materials.profiles:
        yield from _file(record.number, f"profile {profile.path}", folder, profile.path, profile.sha256)


def _file(number: int, thing: str, folder: Path, path: str, sha256: str) -> Iterator[Trouble]:
    if not path or not sha256:
        return
    try:
        if sha256_of(folder / path) != sha256:
            yield Trouble(number, "changed", thing, "is not the file that was measured: its contents changed")
    except OSError as error:
        elsewhere = _by_hash((folder / path).parent, sha256)
        if elsewhere is not None:
            yield Trouble(number, "note", thing, f"is named {elsewhere} now; its contents are those that were measured")
        else:
            yield Trouble(number, "missing", thing, f"cannot be read at {path} ({error.strerror})")


def _by_hash(folder: Path, sha256: str) -> str | None:
    """The name of the file in a folder that has these contents: one that was renamed since."""
    try:
        places = sorted(p for p in folder.iterdir() if p.is_file())
        return next((p.name for p in places if sha256_of(p) == sha256), None)
    except OSError:
        return None


def _job(record: Record, job_file: Path) -> Iterator[Trouble]:
    """Job and gauge files may go on changing, their texts are kept: a change is a note, no fault."""
    told = [(job_file, record.materials.job, "job")]
    if record.materials.gauge is not None:
        told.append((job_file.parent / record.materials.gauge.path, record.materials.gauge, "gauge readings"))
    for path, kept, what in told:
        try:
            same = sha256_of(path) == kept.sha256
        except OSError:
            same = False
        if not same:
            yield Trouble(
                record.number,
                "note",
                path.name,
                f"the {what} file has changed since; the survey keeps it as it was",
            )


def _again(record: Record) -> Iterator[Trouble]:
    """Work the verdict out again and compare it with the recorded one."""
    try:
        now = finite(summary(record.worked_out(), record.materials.asked))
    except UserError as error:
        yield Trouble(record.number, "broken", "verdict", f"cannot be worked out again: {error}")
        return
    odd = [at for at in differences(record.result, now) if not at.startswith("words")]
    if odd and record.version != version():
        yield Trouble(
            record.number,
            "note",
            "verdict",
            f"was made by version {record.version}; version {version()} says otherwise at {', '.join(odd[:3])}",
        )
    elif odd:
        yield Trouble(
            record.number,
            "broken",
            "verdict",
            f"does not follow from the readings kept: {', '.join(odd[:3])}",
        )


def differences(a: Any, b: Any, at: str = "") -> Iterator[str]:
    """Where two trees differ by more than the last digits of a number."""
    if isinstance(a, dict) and isinstance(b, dict):
        for key in sorted(a.keys() | b.keys()):
            here = f"{at} {key}".strip()
            if key not in a or key not in b:
                yield here
            else:
                yield from differences(a[key], b[key], here)
    elif isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
        for k, (x, y) in enumerate(zip(a, b, strict=True)):
            yield from differences(x, y, f"{at} {k + 1}")
    elif isinstance(a, (int, float)) and isinstance(b, (int, float)) and not isinstance(a, bool):
        if not math.isclose(a, b, rel_tol=0.0, abs_tol=SAME):
            yield at
    elif a != b:
        yield at
