"""Unsuppressed tables → tables that may be published: the figures of withheld cells are empty, and flagged.

One flag stands for every withheld figure, whatever the reason: telling a small count from one that protects it
would tell which counts are small.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.disclosure.cells import Cells, cells_of
from pipeline.disclosure.equations import equations_of
from pipeline.disclosure.percentile_tail import limits_are_open, percentile_is_open
from pipeline.disclosure.primary import sensitive_cells
from pipeline.disclosure.suppression import suppressed
from pipeline.programme import Disclosure

WITHHELD = "withheld"
FIGURES = {
    "prevalence": ("n", "denominator", "proportion", "low", "high"),
    "percentile": ("value", "low", "high", "n"),
    "data_quality": ("n", "denominator", "proportion"),
    "total": ("n",),
}


def protect(tables: dict[str, pl.DataFrame], rules: Disclosure) -> dict[str, pl.DataFrame]:
    """The same tables, with the figures of withheld cells empty and their flag `withheld`.

    Shapes   tables: prevalence, percentile, data_quality as in result.*, and total (item, n); any may be absent.
             out: the same tables, rows and columns in the same order.
    Missing  a figure that is null stays null; its flag is not touched.
    Errors   ValueError for a table that no rule covers, or a count that is null: unsuppressed results go in.
    """
    strangers = sorted(set(tables) - set(FIGURES))
    if strangers:
        raise ValueError(f"no disclosure rule for table {strangers[0]}; tables are {', '.join(FIGURES)}")
    cells = cells_of(tables)
    equations = equations_of(cells)
    sensitive = sensitive_cells(cells, rules.minimum_count)
    withheld = suppressed(cells, equations, sensitive, rules.minimum_count)
    protected = {}
    for name, rows in tables.items():
        gone = _row_is_withheld(cells, name, withheld)
        if name == "percentile":
            gone |= ~_is_enough_for_percentile(rows, rules)
            rows = _with_open_limits(rows, rules)
        protected[name] = _emptied(rows, FIGURES[name], gone)
    return protected


def _row_is_withheld(cells: Cells, name: str, withheld: np.ndarray) -> np.ndarray:
    places = cells.places[name]
    gone = np.zeros(places.height, dtype=bool)
    for column in places.columns:
        gone |= withheld[places[column].to_numpy()]
    return gone


def _is_enough_for_percentile(rows: pl.DataFrame, rules: Disclosure) -> np.ndarray:
    n, percentile = rows["n"].to_numpy(), rows["percentile"].cast(pl.Int64).to_numpy()
    return (n >= rules.minimum_people_for_percentile) & percentile_is_open(n, percentile, rules.minimum_count)


def _with_open_limits(rows: pl.DataFrame, rules: Disclosure) -> pl.DataFrame:
    low, high = limits_are_open(rows["n"].to_numpy(), rows["percentile"].to_numpy(), rules.minimum_count)
    return rows.with_columns(
        low=pl.when(pl.Series(low)).then(pl.col("low")), high=pl.when(pl.Series(high)).then(pl.col("high"))
    )


def _emptied(rows: pl.DataFrame, figures: tuple[str, ...], gone: np.ndarray) -> pl.DataFrame:
    is_gone = pl.Series(gone)
    emptied = rows.with_columns(pl.when(~is_gone).then(pl.col(name)).alias(name) for name in figures)
    if "flag" not in rows.columns:
        return emptied
    return emptied.with_columns(flag=pl.when(is_gone).then(pl.lit(WITHHELD)).otherwise(pl.col("flag")))
