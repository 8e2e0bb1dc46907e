"""Every result table, one after the other."""

from __future__ import annotations

from collections.abc import Callable

from pipeline.programme import Programme
from pipeline.results.percentile import build_percentiles
from pipeline.results.prevalence import build_prevalence
from pipeline.store import Store

Progress = Callable[[int, int, str], None]


def build_results(store: Store, programme: Programme, progress: Progress) -> None:
    """Rewrite the result tables from the tallies and, for a site's percentiles, from the people of that site.

    Runs in the caller's transaction. The same readings and settings give the same rows in the same order.
    """
    build_prevalence(store, programme.settings)
    build_percentiles(store, programme.settings, progress)
