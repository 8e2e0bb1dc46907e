"""What of a store goes towards a release, before disclosure control: result.* by table, and how much it rests on."""

from __future__ import annotations

import polars as pl

from pipeline.release.schema import TABLES
from pipeline.store import Store, sql_text

TOTALS = "total"
Tables = dict[str, pl.DataFrame]


def unsuppressed(store: Store) -> Tables:
    """The rows of every table of TABLES, and of the totals under TOTALS, each in a total order."""
    results = {table.name: store.frame(sql_text(table.query)) for table in TABLES}
    results[TOTALS] = store.frame(sql_text("90_published_total.sql"))
    return results
