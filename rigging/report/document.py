"""The report put together from a survey, in the order a reader needs it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from rigging.report import front, named, order, remedies, trust, whole_wing
from rigging.report.blocks import Document
from rigging.report.dimensions import dimensions
from rigging.report.shots import shots
from rigging.survey.model import Survey


def document(survey: Survey, overlays: Mapping[str, Path] | None = None) -> Document:
    """The whole report. overlays : see `rigging.report.shots`."""
    sections = (
        front.findings(survey),
        remedies.corrections(survey),
        order.order(survey),
        front.stations(survey),
        dimensions(survey),
        whole_wing.rib_or_jig(survey),
        named.lines(survey),
        whole_wing.along_span(survey),
        whole_wing.symmetry(survey),
        remedies.crosscheck(survey),
        trust.flags(survey),
        trust.budget(survey),
        shots(survey, overlays or {}),
        trust.calibration(survey),
        trust.provenance(survey),
        trust.cautions(),
        trust.signatures(),
    )
    return Document(
        f"Rib angles: {survey.job.wing.name}",
        front.overall(survey),
        survey.verdict,
        front.facts(survey),
        tuple(s for s in sections if s is not None),
    )
