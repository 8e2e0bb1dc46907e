"""tally.value, and the people of each site → result.percentile."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import polars as pl

from pipeline import measures
from pipeline.programme import ProgrammeSettings
from pipeline.statistics.clustered_percentile import SitesBelow
from pipeline.statistics.percentile import Percentiles, people_below, percentile_rows, percentiles_of
from pipeline.store import Store, sql_text

Progress = Callable[[int, int, str], None]


def build_percentiles(
    store: Store, settings: ProgrammeSettings, progress: Progress, periods: Sequence[str] | None = None
) -> None:
    """Rewrite result.percentile, of all periods or of those given, in the caller's transaction.

    No percentile of a period rests on another period. One population at a time, appended as it is ready: the whole
    table need not fit in memory twice. All sites together come last, because their limits take from each site how many
    of its people lie below a percentile.
    """
    asked = {"periods": periods}
    store.execute("delete from result.percentile where $periods is null or list_contains($periods, period)", asked)
    store.execute_file("50_person_value.sql", **asked)
    sites = [site for (site,) in store.rows("select distinct site from person_value order by site")]
    of_all = _percentiles(
        store.frame(
            "select period, sex, age, measure, value, n from tally.value "
            "where $periods is null or list_contains($periods, period)",  # no order: percentiles sort what they need
            asked,
        ),
        settings,
    )
    site_value_tally = sql_text("51_site_value_tally.sql")
    below, people = [], []
    for done, site in enumerate(sites, start=1):
        of_site = _percentiles(store.frame(site_value_tally, {"site": site}), settings)
        _append(store, percentile_rows(of_site, site))
        of_site_below, of_site_people = people_below(of_all, of_site)
        below.append(of_site_below.astype(np.int32))
        people.append(of_site_people.astype(np.int32))
        progress(done, len(sites), f"percentiles of {site}")
    store.execute("drop table person_value")
    if sites:
        least = settings.disclosure.minimum_count
        _append(store, percentile_rows(of_all, sites=SitesBelow(below, people), least_beyond=least))


def _append(store: Store, rows: pl.DataFrame) -> None:
    with store.lent("site_percentile", rows):
        store.execute_file("52_append_site_percentile.sql")


def _percentiles(tally: pl.DataFrame, settings: ProgrammeSettings) -> Percentiles:
    return percentiles_of(tally, list(measures.MEASURES.values()), settings.ages.all, measures.PERCENTILES)
