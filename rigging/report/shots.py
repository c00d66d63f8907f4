"""Annotated photos brought to a moderate size for the report."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path

from PIL import Image

from rigging.report.blocks import Section, Shot, Shots, Words
from rigging.survey import Survey
from shared.errors import UserError
from shared.rounding import degrees

WIDTH = 1000
QUALITY = 70


def shots(survey: Survey, overlays: Mapping[str, Path]) -> Section | None:
    """The annotated photos in the order of the stations; None without any.

    overlays : photo name -> its overlay picture on disk. Raises UserError for one that cannot be read.
    """
    if not overlays:
        return None
    words = _words(survey)
    order = [name for name in words if name in overlays]
    order += [name for name in overlays if name not in words]
    made = tuple(_shot(name, overlays[name], words.get(name, name)) for name in order)
    return Section(
        "photos",
        "Annotated photos",
        (
            Words(
                "Small here; each opens large. The rails run either side of the line that was measured, so "
                "that the line itself stays visible. U is the camera's own, without the marking of the line "
                "by hand.",
                "note",
            ),
            Shots(made),
        ),
    )


def _words(survey: Survey) -> dict[str, str]:
    """Photo name -> what it gave, stations in order, refusals last."""
    words: dict[str, str] = {}
    for s in survey.stations:
        for use in s.chord.combined.photos:
            value = degrees(use.quantity) if use.quantity is not None else f"not measured, {use.why}"
            words[use.photo] = f"{s.station.name}, chord {value} ({use.photo}, {use.standing})"
    for refusal in survey.refusals:
        words.setdefault(refusal.photo, f"{refusal.photo}: {refusal.reason}")
    return words


def _shot(name: str, path: Path, words: str) -> Shot:
    try:
        with Image.open(path) as picture:
            picture.draft("RGB", (WIDTH, WIDTH))
            small = picture.convert("RGB")
    except OSError as error:
        raise UserError(
            str(path), f"the overlay cannot be read ({error})", "measure the photos again"
        ) from error
    if small.width > WIDTH:
        small = small.resize((WIDTH, round(small.height * WIDTH / small.width)), Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    small.save(stream, "JPEG", quality=QUALITY, optimize=True, progressive=True)
    return Shot(name, f"Annotated photo: {words}", words, stream.getvalue(), small.size)
