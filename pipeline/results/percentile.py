"""tally.value, and the people of each site → result.percentile."""

from __future__ import annotations

from collections.abc import Callable

import polars as pl

from pipeline import measures
from pipeline.programme import ProgrammeSettings
from pipeline.statistics.percentile import percentile_table
from pipeline.store import Store, sql_text

Progress = Callable[[int, int, str], None]


def build_percentiles(store: Store, settings: ProgrammeSettings, progress: Progress) -> None:
    """Rewrite result.percentile, in the caller's transaction.

    One population at a time, appended as it is ready: the whole table need not fit in memory twice.
    """
    sites = [
        site for (site,) in store.rows("select distinct site from reading.participant_period order by site")
    ]
    whole = store.frame("select period, sex, age, measure, value, n from tally.value order by all")
    store.replace_rows("result.percentile", _percentiles(whole, settings, site=None))
    store.execute_file("50_person_value.sql")
    site_value_tally = sql_text("51_site_value_tally.sql")
    for done, site in enumerate(sites, start=1):
        tally = store.frame(site_value_tally, {"site": site})
        with store.lent("site_percentile", _percentiles(tally, settings, site=site)):
            store.execute_file("52_append_site_percentile.sql")
        progress(done, len(sites), f"percentiles of {site}")
    store.execute("drop table person_value")


def _percentiles(tally: pl.DataFrame, settings: ProgrammeSettings, site: str | None) -> pl.DataFrame:
    return percentile_table(
        tally, list(measures.MEASURES.values()), settings.ages.all, measures.PERCENTILES, site
    )
