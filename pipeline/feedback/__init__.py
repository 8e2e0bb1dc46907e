"""What is told inside the programme: to a site on its own files, to those who run it on its runs. Never published."""

from pipeline.feedback.run_history import write_history
from pipeline.feedback.site_page import write_feedback

__all__ = ["write_feedback", "write_history"]
