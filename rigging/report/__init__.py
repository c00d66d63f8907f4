"""The report of a survey: one HTML file, a PDF, a table for spreadsheets, a record for machines."""

from rigging.report.as_html import to_html
from rigging.report.document import document

__all__ = ["document", "to_html"]
