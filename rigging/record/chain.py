"""The record of surveys: one file each, numbered, append-only, chained by hashes.

Each file holds the texts of job and inclinometer readings, the readings with their budgets, the photos'
SHA-256, the settings and the verdict that followed, so that the verdict can be worked out again from the
file alone. Each carries the SHA-256 of the file before it and of its own contents: a survey that was
changed, or taken out of the middle, shows. The newest survey's number and SHA-256 are kept apart, in
NAME-surveys.head, so that its removal shows as well. What does not hold is reported first to whoever reads a survey.
"""

from __future__ import annotations

import contextlib
import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from rigging.batch.readings_file import finite, from_tree, known_or_nan, to_tree
from rigging.record.materials import Asked, Materials, evaluated
from rigging.survey.model import LineResult, Survey
from shared.cautions import CAUTIONS
from shared.errors import UserError
from shared.files import sha256_of, write_whole
from shared.flags import FlagCode
from shared.reading import Reading
from shared.version import version

FORMAT = "ribangle survey 1"
_NAME = re.compile(r"(\d{4,})\.json")


@dataclass(frozen=True)
class Fault:
    """Something of a record that does not hold, at which survey; one line."""

    survey: int
    text: str


@dataclass(frozen=True)
class Standing:
    """Whether a whole record holds."""

    faults: tuple[Fault, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether nothing was changed, exchanged or taken out."""
        return not self.faults

    @property
    def words(self) -> str:
        """One line to say before anything of the record is shown; empty where it holds."""
        told = "; ".join(fault.text for fault in self.faults)
        return f"THE RECORD DOES NOT HOLD, rely on nothing in it: {told}." if told else ""


@dataclass(frozen=True)
class Record:
    """One kept survey. result : what followed, in numbers and words (`summary`). path : its file."""

    number: int
    made: str
    version: str
    note: str
    previous: str | None
    materials: Materials
    readings: tuple[Reading, ...]
    result: dict[str, Any]
    path: Path
    standing: Standing = Standing()

    def worked_out(self) -> Survey:
        """The survey worked out again from what is kept, whether or not that is what was kept."""
        return evaluated(self.materials, self.readings, self.path.parent.parent)

    def survey(self) -> Survey:
        """The same; where the record does not hold, the verdict says so first, and a flag for each fault."""
        survey = self.worked_out()
        if self.standing.holds:
            return survey
        flags = tuple(FlagCode.RECORD_BROKEN.flag(fault.text) for fault in self.standing.faults)
        return replace(survey, verdict=f"{self.standing.words} {survey.verdict}", flags=(*flags, *survey.flags))


def record_folder(job_file: Path) -> Path:
    """Where a job's surveys are kept: NAME-surveys beside NAME.toml."""
    return job_file.parent / f"{job_file.stem}-surveys"


def head_file(folder: Path) -> Path:
    """Where number and SHA-256 of the newest survey of a record are kept: beside its folder, not in it."""
    return folder.with_name(f"{folder.name}.head")


def numbers(folder: Path) -> dict[int, Path]:
    """The kept surveys by number, lowest first; half-written files are none."""
    if not folder.is_dir():
        return {}
    found = {int(m[1]): p for p in folder.iterdir() if (m := _NAME.fullmatch(p.name))}
    return dict(sorted(found.items()))


def keep(folder: Path, materials: Materials, readings: Sequence[Reading], survey: Survey, note: str = "") -> Path:
    """Add a survey to the record; nothing that is there is ever written to. Returns the new file.

    Raises UserError when the folder cannot be written to or another run holds it.
    """
    from filelock import FileLock, Timeout

    try:
        folder.mkdir(parents=True, exist_ok=True)
        with FileLock(folder / ".lock", timeout=20):
            known = numbers(folder)
            number = max(known, default=0) + 1
            body = {
                "format": FORMAT,
                "cautions": list(CAUTIONS),
                "number": number,
                "made": materials.asked.now,
                "version": version(),
                "note": note,
                "previous": sha256_of(known[number - 1]) if known else None,
                "materials": finite(msgspec.to_builtins(materials)),
                "readings": [to_tree(r) for r in readings],
                "result": finite(summary(survey, materials.asked)),
            }
            path, data = folder / f"{number:04d}.json", sealed(body)
            write_whole(path, data)
            write_whole(head_file(folder), f"{number} {hashlib.sha256(data).hexdigest()}\n")
            return path
    except Timeout:
        raise UserError(
            str(folder),
            "another run is writing to the record",
            "wait for it to end, then run the same command again",
        ) from None
    except OSError as error:
        raise UserError(
            str(folder),
            f"the record cannot be written to ({error.strerror or error})",
            "make room on the disk, or mend the folder's permissions",
        ) from None


def sealed(body: dict[str, Any]) -> bytes:
    """The file's bytes: one key a line for readers, the SHA-256 of all that stands before it at the end."""
    lines = [msgspec.json.encode(key) + b": " + msgspec.json.encode(value) for key, value in body.items()]
    text = b"{\n" + b",\n".join(lines)
    seal = hashlib.sha256(text).hexdigest()
    return text + b',\n"seal": "' + seal.encode() + b'"\n}\n'


def seal_holds(raw: bytes) -> bool:
    """Whether a record's bytes are those that were sealed."""
    text, mark, end = raw.rpartition(b',\n"seal": "')
    return bool(mark) and end == hashlib.sha256(text).hexdigest().encode() + b'"\n}\n'


def standing_of(folder: Path) -> Standing:
    """What does not hold of a record: a seal, a survey's link to the one before it, the newest against the head."""
    known = numbers(folder)
    faults: list[Fault] = []
    number, sha256 = 0, ""
    for next_number, path in known.items():
        try:
            raw = path.read_bytes()
        except OSError as error:
            faults.append(Fault(next_number, f"survey {next_number} cannot be read ({error.strerror})"))
            number, sha256 = next_number, ""
            continue
        faults += (Fault(next_number, text) for text in _faults(next_number, raw, number, sha256))
        number, sha256 = next_number, hashlib.sha256(raw).hexdigest()
    faults += (Fault(number, text) for text in _head_faults(folder, number, sha256))
    return Standing(tuple(faults))


def _faults(number: int, raw: bytes, before: int, sha256: str) -> Iterator[str]:
    if not seal_holds(raw):
        yield f"survey {number} was changed after it was written: its seal does not hold"
    if number != before + 1:
        gone = f"survey {number - 1} is" if number == before + 2 else f"surveys {before + 1} to {number - 1} are"
        yield f"{gone} missing before survey {number}"
        return
    with contextlib.suppress(msgspec.MsgspecError):  # whoever reads it says what is wrong
        if (msgspec.json.decode(raw, type=_Chained).previous or "") != sha256:
            yield f"survey {number} does not follow on the survey before it: that one was changed or exchanged"


def _head_faults(folder: Path, newest: int, sha256: str) -> Iterator[str]:
    """What the head kept apart says against the newest survey. A run killed between writing the two leaves the head one
    behind, and the chain tells that the newest follows on it."""
    head = head_file(folder)
    try:
        told, _, digest = head.read_text("ascii").strip().partition(" ")
        last = int(told)
    except FileNotFoundError:
        if newest:
            yield f"{head.name} is missing: a newer survey may have been taken out"
        return
    except (OSError, ValueError):
        yield f"{head.name} is damaged: a newer survey may have been taken out"
        return
    if last > newest:
        gone = f"survey {last} was" if last == newest + 1 else f"surveys {newest + 1} to {last} were"
        yield f"{gone} taken out of the record"
    elif last < newest - 1 or (last == newest and digest != sha256):
        yield f"the newest survey is not the one that {head.name} names"


class _Chained(msgspec.Struct):
    previous: str | None


def load_record(path: Path, standing: Standing | None = None) -> Record:
    """A kept survey, with what does not hold of its record. standing : of the record, where it was worked out already.

    Raises UserError where the file is missing or is no record.
    """
    return replace(_read(path), standing=standing_of(path.parent) if standing is None else standing)


def _read(path: Path) -> Record:
    try:
        tree = msgspec.json.decode(path.read_bytes(), type=dict[str, Any])
        if tree.get("format") != FORMAT:
            raise UserError(path.name, f"is not in the format {FORMAT!r}", "give a file of the job's record")
        materials = msgspec.convert(known_or_nan(tree["materials"], Materials), Materials)
        readings = tuple(from_tree(r) for r in tree["readings"])
        return Record(
            int(tree["number"]),
            str(tree["made"]),
            str(tree["version"]),
            str(tree["note"]),
            tree["previous"],
            materials,
            readings,
            dict(tree["result"]),
            path,
        )
    except OSError as error:
        raise UserError(
            str(path), f"cannot be read ({error.strerror})", "see the record with ribangle log JOB"
        ) from None
    except (msgspec.MsgspecError, KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise UserError(path.name, f"is damaged ({error})", "take the file from a backup") from None


def find_record(job_file: Path, which: str | None) -> Record:
    """A survey of a job by its number ("3"), "last", or counted from the end ("-2"). Raises UserError."""
    folder = record_folder(job_file)
    known = numbers(folder)
    if not known:
        raise UserError(
            str(folder),
            "no survey is kept of this job yet",
            f"make one with ribangle survey {job_file.name} PHOTOS",
        )
    text = (which or "last").strip().lower()
    wanted = -1 if text == "last" else int(text) if re.fullmatch(r"-?\d{1,9}", text) else 0
    ordered = list(known)
    if wanted < 0 and -wanted <= len(ordered):
        wanted = ordered[wanted]
    if wanted not in known:
        raise UserError(f"survey {which}", f"the record holds {_range(ordered)}", "give one of these numbers, or last")
    return load_record(known[wanted])


def _range(known: Sequence[int]) -> str:
    return f"survey {known[0]}" if len(known) == 1 else f"surveys {known[0]} to {known[-1]}"


def summary(survey: Survey, asked: Asked) -> dict[str, Any]:
    """What followed from the readings, in numbers and words; working it out again must give the same.

    The steps' states are among it where the record knows when its evidence came.
    """
    steps = {"steps": {s.step.name: s.state for s in survey.setup.steps}} if asked.came or asked.told else {}
    return {
        "verdict": survey.verdict,
        "words": [*survey.findings, *(c.words for c in survey.corrections if c.needed)],
        "states": {s.station.name: s.state for s in survey.stations},
        "causes": {s.station.name: s.rib_or_jig.cause for s in survey.stations},
        "lines": {
            s.station.name: {line.line: _numbers(line) for line in (s.chord, s.spar, s.built_in)}
            for s in survey.stations
        },
        "corrections": [[*c.stations, c.rounded] for c in survey.corrections],
    } | steps


def _numbers(line: LineResult) -> dict[str, float | None] | None:
    if line.quantity is None:
        return None
    off = None if line.deviation is None else line.deviation.value
    return {"value": line.quantity.value, "U": line.quantity.U, "deviation": off}
