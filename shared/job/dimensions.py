"""The job's [[dimension]] tables: their rules, and the values made of them."""

from __future__ import annotations

from collections.abc import Iterator

from shared.dimensions import FIXED, Dimension, Feature, parse_feature
from shared.job.mistakes import nearest
from shared.job.named_schema import PlaceTable
from shared.job.schema import DimensionTable, JobTables, StationTable

Mistake = tuple[str, str, str]


def dimensions_of(tables: JobTables) -> tuple[Dimension, ...]:
    """The dimensions of a job. tables : that keep every rule."""
    faces: dict[str, StationTable | PlaceTable] = {s.name: s for s in tables.station}
    faces |= {p.name: p for p in tables.place}
    return tuple(_dimension(t, faces[t.at]) for t in tables.dimension)


def _dimension(table: DimensionTable, face: StationTable | PlaceTable) -> Dimension:
    first, second = (parse_feature(text) for text in table.between or table.kind.default or ())
    in_mm = table.kind.unit == "mm"
    return Dimension(
        table.name,
        table.kind,
        face.name,
        tuple(face.cards),
        face.side,
        (first, second),
        table.design_mm if in_mm else table.design_deg,
        table.tolerance_mm if in_mm else table.tolerance_deg,
        table.u_depth_mm,
    )


def broken_dimensions(tables: JobTables) -> Iterator[Mistake]:
    """Each rule that a dimension breaks: thing, rule, remedy. tables : the whole job file."""
    ribs = {s.name for s in tables.station}
    faces = [*ribs, *(p.name for p in tables.place)]
    seen: set[tuple[str, str]] = set()
    for table in tables.dimension:
        thing = f"dimension {table.name}"
        if table.at not in faces:
            near = nearest(table.at, faces)
            remedy = f"did you mean {near}?" if near else "give the name of a [[station]] or [[place]]"
            yield f"{thing}: at", f"{table.at!r} is no station or place", remedy
        yield from _features(thing, table, table.at in ribs)
        yield from _design(thing, table)
        key = (table.at, table.name.casefold())
        if key in seen:
            yield f"{thing}: name", f"used twice at {table.at}", "give each dimension of a place its own name"
        seen.add(key)


def _features(thing: str, table: DimensionTable, of_rib: bool) -> Iterator[Mistake]:
    kind = table.kind
    if table.between is None:
        if kind.default is None:
            yield f"{thing}: between", "is missing", f"give two features for the {kind.label}"
        return
    found: list[Feature] = []
    for text, shape in zip(table.between, kind.shapes, strict=True):
        try:
            feature = parse_feature(text)
        except ValueError as error:
            yield f"{thing}: between", f"{text!r} {error}", "write the feature as listed"
            continue
        if feature.shape is not shape:
            which = "first" if not found else "second"
            yield (
                f"{thing}: between",
                f"{text!r} is {feature.shape.value}",
                f"a {kind.value} has {shape.value} as its {which}",
            )
        if not of_rib and any(f.what in FIXED for f in feature):
            yield f"{thing}: between", f"{text!r} is of a rib, and the place is none", "point at a mark or line by name"
        found.append(feature)
    if len(found) == 2 and found[0] == found[1]:
        yield f"{thing}: between", f"both features are {table.between[0]!r}", "name two different features"


def _design(thing: str, table: DimensionTable) -> Iterator[Mistake]:
    unit, other = ("mm", "deg") if table.kind.unit == "mm" else ("deg", "mm")
    design, tolerance = getattr(table, f"design_{unit}"), getattr(table, f"tolerance_{unit}")
    if getattr(table, f"design_{other}") is not None or getattr(table, f"tolerance_{other}") is not None:
        yield f"{thing}: design_{other}", f"a {table.kind.value} is measured in {unit}", f"write design_{unit}"
    if (design is None) != (tolerance is None):
        lacks = f"tolerance_{unit}" if tolerance is None else f"design_{unit}"
        yield f"{thing}: {lacks}", "is missing; a verdict needs design value and tolerance", "give both or neither"
    if design is not None and design < 0 and not table.kind.signed:
        yield f"{thing}: design_{unit}", f"a {table.kind.value} has no sign", "give it as a positive number"
