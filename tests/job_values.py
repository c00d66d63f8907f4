"""Jobs with legal, silly and extreme values, and readings to match: for tests that nothing stops the tool."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

LENGTHS = st.sampled_from([50.0, 50.1, 400.0, 1200.0, 19_999.0, 20_000.0]) | st.floats(50, 20_000)
SPANS = st.sampled_from([0.0, 0.001, 400.0, 400.0, 1100.0, 50_000.0]) | st.floats(0, 50_000)
TILTS = st.sampled_from([-30.0, -0.0, 0.0, 2.0, 30.0]) | st.floats(-30, 30)
TOLERANCES = st.sampled_from([1e-300, 1e-6, 0.25, 10.0]) | st.floats(1e-6, 10)
NAMES = ["R1", "R 2", "Ö3", "r-4", "[b]5[/b]", "6 \\ 7"]


def maybe(values: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | values


@st.composite
def stations(draw: st.DrawFn) -> list[dict[str, Any]]:
    count = draw(st.integers(1, len(NAMES)))
    found = []
    for k in range(count):
        spar = draw(st.booleans())
        found.append(
            {
                "name": NAMES[k],
                "side": draw(st.sampled_from(["left", "right", "centre"])),
                "span_mm": draw(SPANS),
                "chord_mm": draw(LENGTHS),
                "cards": draw(st.sampled_from([[], [k], [k, k + 10]])),
                "chord_deg": draw(TILTS),
                "chord_tolerance_deg": draw(TOLERANCES),
                "spar_deg": draw(st.sampled_from([60.0, 90.0, 120.0])) if spar else None,
                "spar_tolerance_deg": draw(TOLERANCES) if spar else None,
                "spar_at": draw(maybe(st.sampled_from([1e-9, 0.3, 1 - 1e-9]))),
                "lean_deg": draw(maybe(TILTS)),
                "u_lean_deg": draw(maybe(st.sampled_from([1e-300, 0.5, 30.0]))),
                "panel": draw(maybe(st.just("bay"))),
                "built_in_tolerance_deg": draw(maybe(TOLERANCES)),
            }
        )
    return found


@st.composite
def jigs(draw: st.DrawFn, panelled: bool) -> list[dict[str, Any]]:
    screw = {
        "kind": "screw",
        "thread": draw(st.sampled_from(["M6", "M24", "1/4-20", "0.001 mm"])),
        "arm_mm": draw(st.sampled_from([5.0, 420.0, 20_000.0])),
        "notch": draw(st.sampled_from([1e-300, 1e-9, 0.125, 1.0])),
        "clockwise": draw(st.sampled_from(["nose-up", "nose-down"])),
    }
    shim = {"kind": "shim", "step_mm": draw(st.sampled_from([1e-300, 0.001, 0.5, 50.0]))}
    found = [draw(st.sampled_from([screw, shim]))] if draw(st.booleans()) else []
    if panelled:
        places = draw(st.lists(SPANS, min_size=0, max_size=3, unique=True))
        found += [{**screw, "panel": "bay", "at_span_mm": p} for p in places]
    return found


@st.composite
def jobs(draw: st.DrawFn) -> dict[str, Any]:
    """A job's tables that keep every rule of the schema."""
    ribs = draw(stations())
    names = [s["name"] for s in ribs]
    wing = {
        "name": draw(st.sampled_from(["W", "a [red]wing[/red]", "x" * 80])),
        "root": draw(st.sampled_from(names)),
        "dihedral_deg": draw(maybe(TILTS)),
        "u_lean_deg": draw(maybe(st.sampled_from([1e-300, 0.5, 30.0]))),
        "symmetry_tolerance_deg": draw(TOLERANCES),
        "root_setting": draw(st.sampled_from(["kept", "taken out"])),
        "marking_u_deg": draw(maybe(st.sampled_from([1e-300, 0.05, 5.0]))),
        "length_unit": draw(st.sampled_from(["mm", "in"])),
    }
    job = {
        "wing": wing,
        "station": ribs,
        "jig": draw(jigs(any(s["panel"] for s in ribs))),
        "gauge": {"readings": "gauge.csv", "resolution_deg": draw(st.sampled_from([1e-300, 0.1, 5.0]))},
        "height": [{"station": n, "mm": draw(TILTS), "u_mm": draw(st.sampled_from([1e-300, 0.5]))} for n in names[:3]],
    }
    if draw(st.booleans()):
        mixed = maybe(st.sampled_from(["0001-01-01T00:00", "2026-05-16T09:15", "9999-12-31T23:59"]))
        job["glue"] = {"working_min": 0.001, "gel_min": 20_000.0, "mixed_at": draw(mixed)}
    return _without_none(job)


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    return [_without_none(v) for v in value] if isinstance(value, list) else value
