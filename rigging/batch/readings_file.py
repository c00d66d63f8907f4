"""`readings.json`: every reading with all it carries, written one to a line, read back without loss.

The layout is that of `shared.reading`, with u, U and the budget of every angle added for readers that do
not want to sum components. A number that is unknown (NaN) is null. docs/readings.schema.json is the JSON
Schema of it; `json_schema` makes it.
"""

from __future__ import annotations

import math
import types
from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from inspect import cleandoc
from pathlib import Path
from typing import IO, Any, Union, get_args, get_origin, get_type_hints

import msgspec

from shared.errors import UserError
from shared.job.model import Job
from shared.quantity import Quantity
from shared.reading import NO_RIB, Point, Reading
from shared.version import version

FORMAT = "ribangle readings 1"

CAUTION = (
    "An aid, not an inspection: confirm every angle with an independent instrument; the designer's "
    "drawings, the local authority and a licensed inspector decide."
)

Tree = dict[str, Any]
POINTS = tuple[Point, ...]


def to_tree(reading: Reading, overlay: str | None = None) -> Tree:
    """A reading as plain dictionaries, lists and numbers.

    overlay : path of its annotated picture, relative to the readings file.
    """
    tree: Tree = finite(msgspec.to_builtins(reading))
    _sum_up(tree["chord"], reading.chord.quantity)
    _sum_up(tree["spar"], reading.spar.quantity)
    built_in = reading.built_in
    tree["built_in"] = (
        None if built_in is None else {"quantity": finite(msgspec.to_builtins(built_in)), **_sums(built_in)}
    )
    for part, quantity in (("twist", reading.twist), ("lean", reading.lean)):
        if quantity is not None:
            tree[part] |= _sums(quantity.quantity)
    for line, named in zip(tree["lines"], reading.lines, strict=True):
        _sum_up(line["angle"], named.angle.quantity)
    for part, dimension in zip(tree["dimensions"], reading.dimensions, strict=True):
        _sum_up(part, dimension.quantity)
    tree["overlay"] = overlay
    return tree


def every_rib(trees: Iterable[Tree]) -> Iterator[Tree]:
    """A tree for each rib: of each photo's own tree, and of those in it of the ribs behind the foremost one."""
    for tree in trees:
        yield tree
        yield from tree.get("further", ())


def is_measured(tree: Tree) -> bool:
    """As `Reading.measured`, of a tree."""
    others = [line["angle"] for line in tree.get("lines", ())] + list(tree.get("dimensions", ()))
    any_other = any(each["quantity"] is not None for each in others)
    return tree["chord"]["quantity"] is not None or (tree["chord"]["reason"] == NO_RIB and any_other)


def from_tree(tree: Tree) -> Reading:
    """The reading of a tree made by `to_tree`. Raises msgspec.ValidationError where it is none."""
    return msgspec.convert(known_or_nan(tree, Reading), Reading)


def write_readings(stream: IO[bytes], job: Job, trees: Iterable[Tree], drift: Iterable[Tree] = ()) -> None:
    """Write a readings file piece by piece; its size is bounded by the disk, not by memory.

    drift : what the batch said of each lens profile (`rigging.batch.drift`).
    """
    from rigging.batch.store import made_with

    head = {
        "format": FORMAT,
        "caution": CAUTION,
        "version": version(),
        "wing": job.wing.name,
        "made_with": made_with(job),
        "drift": list(drift),
    }
    stream.write(msgspec.json.encode(head)[:-1] + b',"readings":[')
    for number, tree in enumerate(trees):
        stream.write((b",\n" if number else b"\n") + msgspec.json.encode(tree))
    stream.write(b"\n]}\n")


def load_readings(path: str | Path) -> list[Reading]:
    """The readings of a readings file. Raises UserError where it is none."""
    place = Path(path)
    try:
        data = place.read_bytes()
    except OSError as error:
        raise UserError(
            str(place), f"cannot be read ({error.strerror})", "give the readings.json that ribangle measure wrote"
        ) from None
    try:
        tree = msgspec.json.decode(data, type=dict[str, Any])
        if tree.get("format") != FORMAT:
            raise UserError(
                place.name, f"is not in the format {FORMAT!r}", "measure again with this version of ribangle"
            )
        return [from_tree(entry) for entry in tree["readings"]]
    except (msgspec.MsgspecError, KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise UserError(
            place.name, f"is not a readings file ({error})", "give the readings.json that ribangle measure wrote"
        ) from None


def what_changed(path: Path, job: Job) -> tuple[str, ...]:
    """What of "job", "profiles" and "tool" is no longer as it was when the readings file was made.

    Raises UserError where it is no readings file. One that does not say what it was made with fits nothing.
    """
    from rigging.batch.store import made_with

    load_readings(path)
    told = msgspec.json.decode(path.read_bytes(), type=dict[str, Any]).get("made_with")
    kept = told if isinstance(told, dict) else {}
    return tuple(what for what, digest in made_with(job).items() if kept.get(what) != digest)


def iter_trees(path: Path) -> Iterator[Tree]:
    """The trees of a readings file that `write_readings` wrote, one at a time, whatever its length."""
    with path.open("rb") as stream:
        next(stream)
        for line in stream:
            if line.startswith(b"{"):
                yield msgspec.json.decode(line.rstrip(b",\r\n"), type=dict[str, Any])


def json_schema() -> Tree:
    """JSON Schema (2020-12) of a readings file."""
    (root,), parts = msgspec.json.schema_components([Reading], ref_template="#/$defs/{name}")
    sums: Tree = {
        "value": {"type": ["number", "null"], "description": "degrees, nose-up positive"},
        "u": {"type": ["number", "null"], "description": "combined standard uncertainty, degrees"},
        "U": {"type": ["number", "null"], "description": "expanded uncertainty, k = 2, degrees"},
        "budget": {
            "type": "object",
            "additionalProperties": {"type": ["number", "null"]},
            "description": "standard uncertainty by component name, degrees",
        },
    }
    defs: Tree = {name: _nullable_numbers(part) for name, part in parts.items()}
    defs["Angle"]["properties"] |= sums
    defs["Angle"]["required"] = sorted({*defs["Angle"].get("required", ()), *sums})
    defs["Measured"]["properties"] |= {**sums, "value": {"type": ["number", "null"], "description": "mm or degrees"}}
    defs["Measured"]["required"] = sorted({*defs["Measured"].get("required", ()), *sums})
    for part in ("RibDifference", "FoundLean"):
        defs[part]["properties"] |= sums
        defs[part]["required"] = [*defs[part]["required"], *sums]
    defs["Reading"]["properties"] |= {
        "built_in": {
            "anyOf": [
                {"type": "null"},
                {
                    "type": "object",
                    "properties": {"quantity": {"$ref": "#/$defs/Quantity"}, **sums},
                    "required": ["quantity", *sums],
                },
            ]
        },
        "overlay": {"type": ["string", "null"]},
    }
    defs["Reading"]["required"] = [*defs["Reading"]["required"], "built_in", "overlay"]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": FORMAT,
        "type": "object",
        "properties": {
            "format": {"const": FORMAT},
            "caution": {"type": "string"},
            "version": {"type": "string"},
            "wing": {"type": "string"},
            "made_with": {
                "type": "object",
                "properties": {k: {"type": "string"} for k in ("job", "profiles", "tool")},
                "required": ["job", "profiles", "tool"],
                "description": "SHA-256 of what of job, profiles and tool bears on a reading",
            },
            "drift": {
                "type": "array",
                "items": _drift_schema(),
                "description": "what the batch's cards say of each lens profile and of the print",
            },
            "readings": {"type": "array", "items": root},
        },
        "required": ["format", "caution", "version", "wing", "made_with", "drift", "readings"],
        "$defs": defs,
    }


def _drift_schema() -> Tree:
    number: Tree = {"type": ["number", "null"]}
    texts = {"lens": "ident of the lens profile", "lens_date": "its day, ISO 8601"}
    numbers = {
        "cards": "cards used",
        "focal": "focal length over the profile's",
        "u_focal": "its u",
        "stretch": "of the prints, down the sheet against across, relative",
        "u_stretch": "its u",
        "skew_deg": "of the prints' corners from 90, degrees",
        "u_skew_deg": "its u",
        "rms_px": "median residual of the cards' corners, pixels",
    }
    properties: Tree = {k: {"type": "string", "description": d} for k, d in texts.items()}
    properties |= {k: {**number, "description": d} for k, d in numbers.items()}
    properties["flags"] = {"type": "array", "items": {"$ref": "#/$defs/Flag"}}
    return {"type": "object", "properties": properties, "required": [*properties]}


def _sum_up(angle: Tree, quantity: Quantity | None) -> None:
    angle |= {"value": None, "u": None, "U": None, "budget": {}} if quantity is None else _sums(quantity)


def _sums(quantity: Quantity) -> Tree:
    sums: Tree = finite({"value": quantity.value, "u": quantity.u, "U": quantity.U, "budget": quantity.budget()})
    return sums


def finite(value: Any) -> Any:
    """The same tree with null in place of every number that is none."""
    if isinstance(value, dict):
        return {key: finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [finite(item) for item in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value


def known_or_nan(value: Any, kind: Any) -> Any:
    """The same tree with NaN in place of null wherever `kind` wants a number."""
    if value is None:
        return math.nan if kind is float else None
    if isinstance(kind, type) and is_dataclass(kind) and isinstance(value, dict):
        return {key: known_or_nan(value[key], hint) for key, hint in _hints(kind) if key in value}
    if kind == POINTS and isinstance(value, list) and not any(None in point for point in value):
        return value  # the bulk of a reading, and hardly ever unknown
    if isinstance(value, list) and get_origin(kind) is tuple:
        return [known_or_nan(item, part) for item, part in zip(value, _parts(kind, len(value)), strict=True)]
    if get_origin(kind) in (Union, types.UnionType):
        options = [part for part in get_args(kind) if part is not types.NoneType]
        return known_or_nan(value, options[0]) if len(options) == 1 else value
    return value


def _parts(kind: Any, count: int) -> Iterator[Any]:
    arguments = get_args(kind)
    repeats = len(arguments) == 2 and arguments[1] is Ellipsis
    for index in range(count):
        yield arguments[0] if repeats else arguments[min(index, len(arguments) - 1)]


@cache
def _hints(kind: type) -> tuple[tuple[str, Any], ...]:
    hints = get_type_hints(kind)
    return tuple((entry.name, hints[entry.name]) for entry in fields(kind))


def _nullable_numbers(part: Any) -> Any:
    """The schema with null allowed where a number stands, since an unknown number is null."""
    if isinstance(part, list):
        return [_nullable_numbers(item) for item in part]
    if not isinstance(part, dict):
        return part
    changed = {key: _nullable_numbers(item) for key, item in part.items()}
    if changed.get("type") == "number":
        changed["type"] = ["number", "null"]
    if isinstance(changed.get("description"), str):
        changed["description"] = cleandoc(changed["description"])
    choices = changed.get("anyOf", [])
    if {"type": "null"} in choices and {"type": ["number", "null"]} in choices and len(choices) == 2:
        del changed["anyOf"]
        changed["type"] = ["number", "null"]
    return changed


def main() -> None:
    """Write the schema to docs/readings.schema.json."""
    from shared.files import write_whole

    target = Path(__file__).parents[2] / "docs" / "readings.schema.json"
    write_whole(
        target, msgspec.json.format(msgspec.json.encode(json_schema(), order="deterministic"), indent=1) + b"\n"
    )


if __name__ == "__main__":
    main()
