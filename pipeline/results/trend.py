"""tally.band → tally.band_of_ages → result.trend."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipeline.programme import ProgrammeSettings
from pipeline.results.prevalence import reported_bandings
from pipeline.statistics.trend_table import first_ages, trend_table
from pipeline.store import Store


def build_trends(store: Store, settings: ProgrammeSettings, periods: Sequence[str] | None = None) -> None:
    """Rewrite result.trend, in the caller's transaction.

    `periods`: those whose tallies changed, where the caller knows that nothing else did; None for all.
    """
    bandings, ages = reported_bandings(settings), settings.ages
    together = [
        (banding.name, age, first)
        for banding in bandings
        for age, first in first_ages(banding, ages.groups, ages.totals).items()
    ]
    schema = {"banding": pl.String, "age": pl.Int16, "age_from": pl.Int16}
    with store.lent("age_together", pl.DataFrame(together, schema=schema, orient="row")):
        store.execute_file("54_tally_band_of_ages.sql", periods=periods)
    tally = store.frame("select site, period, sex, age_from as age, banding, band, n from tally.band_of_ages")
    store.replace_rows("result.trend", trend_table(tally, bandings, ages.groups, ages.totals))
