"""Pages from the files of a release folder; nothing here knows the store or the pipeline."""

from dashboards.pages import build_pages

__all__ = ["build_pages"]
