"""What a site is told about its own files: for that site alone, never for publication."""

from pipeline.feedback.site_page import write_feedback

__all__ = ["write_feedback"]
