"""A finished survey in the unit that its builder thinks in: every text's millimetres, nothing else."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import TypeVar

from rigging.survey.model import Provenance, Survey
from shared.dimensions import Dimension
from shared.job.model import Jig, Job, Station
from shared.lengths import Units, shown_in
from shared.quantity import Quantity

T = TypeVar("T")
_AS_THEY_ARE = (Job, Station, Jig, Dimension, Quantity, Provenance)
_NAMES = frozenset({"photo", "station", "stations", "name", "sha256", "code", "source", "left", "right"})


def in_units(survey: Survey, units: Units) -> Survey:
    """The survey with the lengths in its words in `units`; numbers stay in mm."""
    return survey if units == "mm" else _shown(survey, units)


def _shown(value: T, units: Units) -> T:
    if isinstance(value, str):
        return shown_in(value, units)  # type: ignore[return-value]
    if isinstance(value, tuple):
        return tuple(_shown(v, units) for v in value)  # type: ignore[return-value]
    if isinstance(value, _AS_THEY_ARE) or not is_dataclass(value) or isinstance(value, type):
        return value
    old = {f.name: getattr(value, f.name) for f in fields(value) if f.init}
    old = {name: part for name, part in old.items() if name not in _NAMES or not _is_text(part)}
    new = {name: _shown(part, units) for name, part in old.items()}
    changed = {name: part for name, part in new.items() if part is not old[name] and part != old[name]}
    return replace(value, **changed) if changed else value


def _is_text(part: object) -> bool:
    return isinstance(part, str) or (isinstance(part, tuple) and all(isinstance(p, str) for p in part))
