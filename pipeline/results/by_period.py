"""Result tables in which a period's rows rest on that period's readings alone.

Each period is worked out by itself, whichever others are written beside it: only then are the figures of a run that
writes one period those of a run that writes all, to the last digit of a sum over sites.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import polars as pl

from pipeline.store import Store


def rewrite_periods(
    store: Store, table: str, periods: Sequence[str] | None, rows_of: Callable[[str], pl.DataFrame]
) -> None:
    """Rewrite a result table, of the periods given or, with None, of all, in the caller's transaction.

    rows_of: a period's rows, with the columns of the table. A period without people loses its rows.
    """
    asked = {"periods": periods}
    store.execute(f"delete from {table} where $periods is null or list_contains($periods, period)", asked)
    for period in periods_with_people(store, periods):
        store.append_rows(table, rows_of(period))


def periods_with_people(store: Store, periods: Sequence[str] | None = None) -> list[str]:
    """Of the periods given, or of all, those in which anybody counts, in order."""
    found = store.rows(
        "select distinct period from reading.participant_period "
        "where $periods is null or list_contains($periods, period) order by period",
        {"periods": periods},
    )
    return [period for (period,) in found]


def band_tally(store: Store, period: str | None = None) -> pl.DataFrame:
    """A period's people, or those of every period, by site, sex, age, banding and band.

    In no order: they are counted, and tables sorted after.
    age is the first of the person's age group that the banding has: results tell groups and totals, no single years.
    """
    return store.frame(
        "select site, period, sex, age_from as age, banding, band, n from tally.band_of_ages "
        "where $period is null or period = $period",
        {"period": period},
    )
