"""Loading the job: TOML text, checked against `shared.job.schema`, then against itself, as a `Job`.

Every mistake is a `UserError` of one line that names the file, the key (with its station), the rule and
the remedy. Nothing is guessed: an unknown key, a wrong type or an impossible value stops the load.
"""

from __future__ import annotations

import math
import re
import tomllib
from datetime import date, datetime, time
from pathlib import Path
from typing import Any
from unicodedata import category

import msgspec

from shared.errors import UserError
from shared.job.dimensions import dimensions_of
from shared.job.mistakes import explain, where
from shared.job.model import CardPrint, Gauge, Glue, Height, Jig, Job, Level, SparLevel, Station, Wing
from shared.job.named import LinePair
from shared.job.named_rules import lines_of, place_of
from shared.job.order import steps_of, typed_of
from shared.job.rules import check
from shared.job.schema import JobTables
from shared.lengths import parse_length

MAX_BYTES = 1_000_000
"""Largest job file read; a wing of 400 ribs takes a tenth of it."""
_TURNING = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
"""Marks that turn the writing direction: a name would be shown as another."""
MOST_DEEP = 8
"""Tables within tables; a job needs four."""


def load_job(path: str | Path) -> Job:
    """Read and check a job file (TOML 1.0, UTF-8).

    Raises UserError, one line, for a file that cannot be read, is no TOML, or breaks a rule.

    path : of the job file; profiles that it names are looked for in its folder.

    >>> job = load_job("samples/trainer/trainer.toml")
    >>> [station.name for station in job.stations][:4], job.stations[0].chord_mm
    (['R1', 'R2', 'R3', 'R4'], 1200.0)
    """
    place = Path(path)
    return parse_job(_text(place), place.name, place.parent)


def parse_job(text: str, file: str = "job.toml", folder: Path = Path()) -> Job:
    """A job from TOML text. file : its name in messages. folder : where relative paths count from.

    Raises UserError as `load_job` does.
    """
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UserError(file, f"is not TOML: {error}", _toml_remedy(text, str(error))) from None
    except (RecursionError, ValueError) as error:
        raise UserError(file, f"is not a job file ({type(error).__name__})", "start afresh with ribangle new") from None
    _refuse_depth(tree, file)
    tree = _plain(tree)
    _refuse_odd_values(tree, file, tree, ())
    tree = _lengths(tree, file, tree, ())
    try:
        tables = msgspec.convert(tree, JobTables)
    except msgspec.ValidationError as error:
        raise explain(error, tree, file) from None
    check(tables, file)
    return _job(tables, folder)


def _text(place: Path) -> str:
    try:
        if not place.is_file():
            kind = "is a folder" if place.is_dir() else "is not a file" if place.exists() else "is not there"
            raise UserError(
                str(place), f"the job file {kind}", "give the path of a job file, or write one with ribangle new"
            )
        with place.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise UserError(str(place), f"cannot be read ({reason})", "check the path and its permissions") from None
    if len(data) > MAX_BYTES:
        raise UserError(
            place.name, f"a job file is at most {MAX_BYTES // 1000} kB", "give the path of a job file, not of a photo"
        )
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        raise UserError(place.name, "is not text in UTF-8", "save it as UTF-8 in the editor") from None


def _refuse_depth(tree: Any, file: str) -> None:
    """A key of thousands of dots is thousands of tables in each other: reported before anything walks down there."""
    level = [tree]
    for _ in range(MOST_DEEP):
        level = [v for t in level for v in (t.values() if isinstance(t, dict) else t) if isinstance(v, (dict, list))]
        if not level:
            return
    raise UserError(file, f"has tables over {MOST_DEEP} deep in each other", "mend the key with too many dots")


def _plain(tree: Any) -> Any:
    """Dates and times of TOML as ISO 8601 text, so that they may be written with or without quotes."""
    if isinstance(tree, dict):
        return {key: _plain(value) for key, value in tree.items()}
    if isinstance(tree, list):
        return [_plain(value) for value in tree]
    return tree.isoformat() if isinstance(tree, (datetime, date, time)) else tree


def _lengths(tree: Any, file: str, root: Any, path: tuple[str | int, ...]) -> Any:
    """Lengths written with their unit ("47 1/4 in", "1.2 m") in millimetres, wherever a key is mm or ends in _mm."""
    if isinstance(tree, dict):
        return {key: _lengths(value, file, root, (*path, key)) for key, value in tree.items()}
    if isinstance(tree, list):
        return [_lengths(value, file, root, (*path, index)) for index, value in enumerate(tree)]
    last = path[-1] if path else None
    if isinstance(tree, str) and isinstance(last, str) and f"_{last}".endswith("_mm") and not tree.isdecimal():
        return parse_length(tree, where(file, root, path))
    return tree


def _toml_remedy(text: str, error: str) -> str:
    line = re.search(r"line (\d+)", error)
    lines = text.splitlines()
    at = int(line[1]) - 1 if line else len(lines)
    if at < len(lines) and re.search(r"=\s*[-+]?\d+,\d+\s*(#|$)", lines[at]):
        return "write decimals with a point, as 0.25"
    return "mend that line; text values stand in quotes, a table starts with [name]"


def _refuse_odd_values(tree: Any, file: str, root: Any, path: tuple[str | int, ...]) -> None:
    if isinstance(tree, dict):
        for key, value in tree.items():
            _refuse_odd_values(value, file, root, (*path, key))
    elif isinstance(tree, list):
        for index, value in enumerate(tree):
            _refuse_odd_values(value, file, root, (*path, index))
    elif isinstance(tree, str):
        if any(category(c) == "Cc" or c in _TURNING for c in tree):
            raise UserError(
                where(file, root, path), "holds a character that cannot be seen", "type the text again, without it"
            )
        if path and path[-1] == "name" and tree.lstrip()[:1] in ("=", "+", "-", "@"):
            raise UserError(
                where(file, root, path), "begins as a spreadsheet's formula does", "begin it with a letter or a figure"
            )
    elif isinstance(tree, float) and not math.isfinite(tree):
        raise UserError(
            where(file, root, path), f"must be a number, not {tree}", "leave the key out where the value is unknown"
        )


def _job(tables: JobTables, folder: Path) -> Job:
    wing, camera = tables.wing, tables.camera
    fields = msgspec.structs.asdict
    return Job(
        wing=Wing(
            wing.name,
            wing.root,
            wing.dihedral_deg,
            wing.u_lean_deg,
            wing.symmetry_tolerance_deg,
            wing.root_setting,
            wing.dihedral_tolerance_deg,
        ),
        stations=tuple(Station(**{**fields(s), "cards": tuple(s.cards)}) for s in tables.station),
        folder=folder,
        lens=camera.lens,
        lens_folder=camera.lens_folder,
        only=camera.only,
        level=Level(**fields(tables.level)),
        gauge=Gauge(**fields(tables.gauge)),
        jigs=tuple(Jig(**fields(jig)) for jig in tables.jig),
        glue=None if isinstance(tables.glue, msgspec.UnsetType) else Glue(**fields(tables.glue)),
        prints=CardPrint(**fields(tables.cards)),
        marking_u_deg=wing.marking_u_deg,
        heights=tuple(Height(**fields(height)) for height in tables.height),
        spar_levels=tuple(SparLevel(**fields(level)) for level in tables.spar_level),
        typed=typed_of(tables),
        steps=steps_of(tables),
        stage=wing.stage,
        length_unit=wing.length_unit,
        decimal=wing.decimal,
        places=tuple(place_of(p) for p in tables.place),
        lines=lines_of(tables.line, tables.place, {s.name: (s.chord_deg, s.spar_deg) for s in tables.station}),
        pairs=tuple(LinePair(**fields(p)) for p in tables.pair),
        inch_fractions=wing.inch_fractions,
        dimensions=dimensions_of(tables),
    )
