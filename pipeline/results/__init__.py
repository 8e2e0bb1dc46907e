"""Tallies → the tables of result.*, unsuppressed, for all sites and for each.

Statistics take most of a second to import, and a run in which nothing came needs none: each name is fetched when it is
first asked for.
"""

from importlib import import_module
from typing import Any

_FOUND_IN = {
    "build_results": "pipeline.results.building",
    "refresh_results": "pipeline.results.building",
    "reported_bandings": "pipeline.results.prevalence",
}

__all__ = ["build_results", "refresh_results", "reported_bandings"]


def __getattr__(name: str) -> Any:
    if name not in _FOUND_IN:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_FOUND_IN[name]), name)
