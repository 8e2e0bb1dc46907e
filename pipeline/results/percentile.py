"""tally.value, and the people of each site → result.percentile."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import polars as pl

from pipeline import measures
from pipeline.in_parts import sites_together
from pipeline.programme import ProgrammeSettings
from pipeline.results.by_period import periods_with_people
from pipeline.statistics.age_group import SEXES
from pipeline.statistics.clustered_percentile import SitesBelow
from pipeline.statistics.percentile import (
    people_below,
    percentile_rows,
    percentiles_of,
    percentiles_of_people,
)
from pipeline.store import Store, sql_text

Progress = Callable[[int, int, str], None]

PEOPLE_AT_A_TIME = 40_000  # of sites that go together: more take more memory, and from here on no less time
ROWS_AT_A_TIME = 250_000  # appended: fewer cost the database a third more


def build_percentiles(
    store: Store, settings: ProgrammeSettings, progress: Progress, periods: Sequence[str] | None = None
) -> None:
    """Rewrite result.percentile, of all periods or of those given, in the caller's transaction.

    No percentile of a period rests on another period.
    """
    given = {"periods": periods}
    store.execute("delete from result.percentile where $periods is null or list_contains($periods, period)", given)
    store.execute(
        "delete from ledger.percentile_digest where $periods is null or list_contains($periods, period)", given
    )
    asked = periods_with_people(store, periods)
    for done, period in enumerate(asked, start=1):
        _build_period(store, settings, period)
        progress(done, len(asked), f"percentiles of {period}")


def _build_period(store: Store, settings: ProgrammeSettings, period: str) -> None:
    """Some sites at a time, appended as they come together: the whole table need not fit in memory.

    All sites together come last: their limits take from each site how many of its people lie below a percentile.
    """
    store.execute_file("50_person_value.sql", period=period)
    tally = store.frame(  # no order: percentiles sort what they need
        "select sex, age, measure, value, n from tally.value where period = $period", {"period": period}
    )
    asked = list(measures.MEASURES.values()), settings.ages.all, measures.PERCENTILES
    of_all = percentiles_of(tally.with_columns(period=pl.lit(period)), *asked)
    people_at = store.rows("select site, people from person_site order by number")
    sites = [site for site, _ in people_at]
    below, people, rows = [], [], []
    for first, last in sites_together(people_at, PEOPLE_AT_A_TIME):
        of_sites = percentiles_of_people(people_of_sites(store, sites, first, last), period, *asked)
        rows.append(percentile_rows(of_sites))
        if sum(part.height for part in rows) >= ROWS_AT_A_TIME:
            _append(store, rows)
            rows = []
        found_below, found_people = people_below(of_all, of_sites)
        below.append(found_below.astype(np.int32))
        people.append(found_people.astype(np.int32))
    store.execute("drop table person_value")
    store.execute("drop table person_site")
    by_site = SitesBelow(np.concatenate(below), np.concatenate(people))
    least = settings.disclosure.minimum_count
    _append(store, [*rows, percentile_rows(of_all, sites=by_site, least_beyond=least)])
    store.execute_file("52_percentile_digest.sql", period=period)


def people_of_sites(store: Store, sites: Sequence[str], first: str, last: str) -> pl.DataFrame:
    """The people of the period in `person_value`, from one site to another by name.

    Shapes   sites: the ids of person_site by their numbers; out: one row a person, columns site, sex, age, and one a
             measure, by its name, in whole print steps, null where it was not taken.
    """
    people = store.frame(sql_text("51_people_of_sites.sql"), {"first_site": first, "last_site": last})
    return people.with_columns(
        pl.col("site").cat.to(pl.Enum(sites)),
        pl.col("sex").cat.to(pl.Enum(SEXES)),
    )


def _append(store: Store, rows: Sequence[pl.DataFrame]) -> None:
    with store.lent("site_percentile", pl.concat(rows)):
        store.execute_file("52_append_site_percentile.sql")
