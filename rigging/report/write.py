"""The report's files, whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from rigging.report.as_csv import lines_csv, to_csv
from rigging.report.as_html import to_html
from rigging.report.as_json import to_json
from rigging.report.dimensions_csv import dimensions_csv
from rigging.report.document import document
from rigging.survey.model import Survey
from shared.errors import UserError
from shared.files import write_whole

if TYPE_CHECKING:
    from rigging.report.as_pdf import Paper


def write_report(
    survey: Survey, folder: Path, overlays: Mapping[str, Path] | None = None, pdf: Paper | None = None
) -> tuple[Path, ...]:
    """Write report.html, stations.csv and survey.json; lines.csv where the job names lines, dimensions.csv where it asks for
    any; report.pdf when a paper size is given.


    overlays : SHA-256 of a photo -> its annotated picture. Raises UserError when the folder cannot be
    written to or an overlay cannot be read. Returns the files written.
    """
    doc = document(survey, overlays)
    files: dict[str, bytes | str] = {
        "report.html": to_html(doc),
        "stations.csv": to_csv(survey),
        "survey.json": to_json(survey),
    }
    if survey.lines:
        files["lines.csv"] = lines_csv(survey)
    if survey.dimensions:
        files["dimensions.csv"] = dimensions_csv(survey)
    if pdf is not None:
        from rigging.report.as_pdf import to_pdf

        files["report.pdf"] = to_pdf(doc, pdf)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in files.items():
            write_whole(folder / name, data)
    except OSError as error:
        raise UserError(
            str(folder),
            f"cannot be written to ({error.strerror or error})",
            "give a folder that can be written to with --out",
        ) from None
    return tuple(folder / name for name in files)
