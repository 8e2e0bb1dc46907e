"""Pages a programme can publish: static files made from one release folder alone.

What makes pages and charts takes most of a second to import, and many a run makes none: each name is fetched when it is
first asked for.
"""

from importlib import import_module
from typing import Any

_FOUND_IN = {
    "CatalogueUnreadable": "dashboards.catalogue",
    "ReleaseUnreadable": "dashboards.release",
    "build_pages": "dashboards.pages",
    "read_catalogue": "dashboards.catalogue",
    "still_english": "dashboards.translating",
    "write_catalogue": "dashboards.translating",
}

__all__ = [
    "CatalogueUnreadable",
    "ReleaseUnreadable",
    "build_pages",
    "read_catalogue",
    "still_english",
    "write_catalogue",
]


def __getattr__(name: str) -> Any:
    if name not in _FOUND_IN:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_FOUND_IN[name]), name)
