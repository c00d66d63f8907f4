"""Annotated photos brought to a moderate size for the report."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path

from PIL import Image

from rigging.report.blocks import AnnotatedPhoto, Section, Shots, Words
from rigging.survey.model import Survey
from shared.errors import UserError
from shared.rounding import degrees

WIDTHS = ((30, 1000), (80, 720))
"""Up to so many photos they are embedded at such a width, pixels; more of them at LEAST_WIDTH, so that
the file still opens at once. The full pictures stay in the overlays folder."""
LEAST_WIDTH = 480
QUALITY = 70


def shots(survey: Survey, overlays: Mapping[str, Path]) -> Section | None:
    """The annotated photos in the order of the stations; None without any.

    overlays : SHA-256 of a photo -> its annotated picture on disk. Raises UserError for one that cannot be
    read.
    """
    words = {sha: text for sha, text in _words(survey).items() if sha in overlays}
    if not words:
        return None
    width = next((w for most, w in WIDTHS if len(words) <= most), LEAST_WIDTH)
    made = tuple(_shot(sha, overlays[sha], text, width) for sha, text in words.items())
    note = Words(
        "Small here; each opens large. The rails run either side of the line that was measured, so that the "
        "line itself stays visible. U is the camera's own, without the marking of the line by hand.",
        "note",
    )
    return Section("photos", "Annotated photos", (note, Shots(made)))


def _words(survey: Survey) -> dict[str, str]:
    """SHA-256 of a photo -> what it gave; stations in order, refusals last."""
    words: dict[str, str] = {}
    for s in survey.stations:
        for use in s.chord.combined.photos:
            value = degrees(use.quantity) if use.quantity is not None else f"not measured, {use.why}"
            said = f"{s.station.name}, chord {value} ({use.photo}, {use.standing})"
            words[use.sha256] = "; ".join(filter(None, (words.get(use.sha256), said)))  # a photo may show several ribs
    reasons = {r.photo: r.reason for r in survey.refusals}
    for name, sha in survey.provenance.photos:
        words.setdefault(sha, f"{name}: {reasons.get(name, 'not used')}")
    return words


def _shot(sha: str, path: Path, words: str, width: int) -> AnnotatedPhoto:
    try:
        with Image.open(path) as picture:
            picture.draft("RGB", (width, width))
            small = picture.convert("RGB")
    except OSError as error:
        raise UserError(str(path), f"the overlay cannot be read ({error})", "measure the photos again") from error
    if small.width > width:
        small = small.resize((width, round(small.height * width / small.width)), Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    small.save(stream, "JPEG", quality=QUALITY, optimize=True, progressive=True)
    return AnnotatedPhoto(sha, f"Annotated photo: {words}", words, stream.getvalue(), small.size)
