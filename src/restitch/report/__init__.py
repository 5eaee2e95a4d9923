"""One report model, told as text, JSON and a page."""

from restitch.report.document import document_of
from restitch.report.model import CAUTIONS, Outcome, Report

__all__ = ["CAUTIONS", "Outcome", "Report", "document_of"]
