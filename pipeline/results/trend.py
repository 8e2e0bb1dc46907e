"""tally.band_of_ages → result.trend."""

from __future__ import annotations

from pipeline.programme import ProgrammeSettings
from pipeline.results.by_period import band_tally
from pipeline.results.prevalence import reported_bandings
from pipeline.statistics.trend_table import trend_table
from pipeline.store import Store


def build_trends(store: Store, settings: ProgrammeSettings) -> None:
    """Rewrite result.trend, in the caller's transaction."""
    rows = trend_table(band_tally(store), reported_bandings(settings), settings.ages.groups, settings.ages.totals)
    store.replace_rows("result.trend", rows)
