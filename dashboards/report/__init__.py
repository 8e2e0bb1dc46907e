"""A release folder → the quarter's report: one selection of figures, as a page and as a PDF."""

from dashboards.report.contents import report_pages
from dashboards.report.document import write_document

__all__ = ["report_pages", "write_document"]
