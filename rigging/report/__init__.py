"""The report of a survey: one HTML file, a PDF, a table for spreadsheets, a record for machines."""

from rigging.report.document import document
from rigging.report.write import write_report

__all__ = ["document", "write_report"]
