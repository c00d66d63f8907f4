"""The job's dimensions on the page: how each stands, and what a person may point at in which photo."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rigging.page.bench import Refused
from rigging.survey.dimension_words import between_words, design_words, value_words
from rigging.survey.dimensions import DimensionResult
from rigging.survey.model import Survey
from shared.dimensions import POINTED
from shared.job.model import Job
from shared.reading import Reading
from vision.lines.hints import Pointed, hint_from_text

Points = Sequence[tuple[float, float]]


def dimensions_tree(survey: Survey) -> list[dict[str, Any]]:
    """Every dimension, as shown; left against right after them. survey : of the bench."""
    each = [_tree(survey.job, r) for r in survey.dimensions]
    sides: list[dict[str, Any]] = [
        {"name": s.left.name, "what": "left against right", "words": s.words, "doubts": [],
         "state": s.decision.outcome if s.decision is not None else "measured"}
        for s in survey.sides
    ]  # fmt: skip
    return each + sides


def _tree(job: Job, r: DimensionResult) -> dict[str, Any]:
    d, q = r.dimension, r.quantity
    value = "no value" if q is None else value_words(job, d.kind.unit, q, d.kind.signed)
    design = f", design {words}" if (words := design_words(job, d)) else ""
    why = f"Limited by {r.limits}" if r.limits else r.combined.reason or ""
    return {
        "name": d.key,
        "what": between_words(d),
        "words": f"{value}{design}",
        "state": r.state,
        "doubts": [*([r.combined.doubt] if r.combined.doubt else []), *([why] if why else [])],
    }


def features_of(job: Job, reading: Reading, hints: Sequence[str]) -> list[dict[str, Any]]:
    """What a person may point at in a photo: the named features of the dimensions whose cards it shows.

    job : asks for them. reading : of the photo. hints : those of the photo, as text.
    """
    shown = {(m.place, m.name) for m in reading.dimensions}
    done = {hint_from_text(h).key for h in hints}
    features = {
        f.text: f for d in job.dimensions if (d.place, d.name) in shown for f in d.features if f.what in POINTED
    }
    return [
        {"feature": text, "points": 1 if f.what == "mark" else 2, "done": text in done} for text, f in features.items()
    ]


def pointed(job: Job, feature: str, points: Points) -> Pointed:
    """What a person pointed at. Raises Refused for what the job asks for nowhere, UserError for points that make none.

    job : asks for features. feature : as it writes it. points : (x, y) pixels of the upright photo.
    """
    known = {f.text: f for d in job.dimensions for f in d.features if f.what in POINTED}
    if feature not in known:
        raise Refused("no dimension of the job stands on that")
    return Pointed(known[feature].what, known[feature].name, tuple((float(x), float(y)) for x, y in points))
