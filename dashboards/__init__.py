"""Pages a programme can publish: static files made from one release folder alone."""

from dashboards.catalogue import CatalogueUnreadable, read_catalogue
from dashboards.pages import build_pages
from dashboards.release import ReleaseUnreadable
from dashboards.translating import still_english, write_catalogue

__all__ = [
    "CatalogueUnreadable",
    "ReleaseUnreadable",
    "build_pages",
    "read_catalogue",
    "still_english",
    "write_catalogue",
]
