"""Published counts rounded to a multiple of five, on request: [disclosure] rounding = 5.

Each count is rounded to the nearest multiple by itself, after suppression. The same number of people therefore is the
same figure in every table, file and page, whatever it is called there; a total need not be the sum of its parts, as
their sum would carry the roundings of all of them. Proportions are those of the rounded counts, and intervals are made
of them or widened to whole steps, so that no exact count can be solved for from a figure beside it.

Rounding alone protects nobody: 1 and 2 become 0 and say so, and a person more or less shows wherever a count crosses
an edge. Suppression stays as it is; what rounding adds is that differences between tables and releases are blurred.

    every table               n, denominator: nearest multiple
    prevalence, data_quality  proportion = n / denominator, both rounded
    prevalence of a site      its Wilson interval, of the rounded counts
    other proportions         to the nearest step that `base` people are worth, their limits outward to such a step

Figures that are no counts of people nor shares of them (percentiles, odds ratios, scores) are as they were: they are
already told no more exactly than a person or more would change them (pipeline/disclosure/derived.py, site_rules.py).
"""

from __future__ import annotations

import polars as pl

from pipeline.disclosure.rounding import downward, to_nearest, upward
from pipeline.statistics.proportion_interval import wilson_interval

_COUNTS = ("n", "denominator")
_SHARES_OF_COUNTS = ("prevalence", "data_quality")


def rounded_counts(tables: dict[str, pl.DataFrame], base: int | None) -> dict[str, pl.DataFrame]:
    """The same protected tables with their counts rounded to multiples of `base`; as they are where it is None.

    Missing  a withheld figure stays empty, and so does a share whose denominator becomes 0.
    """
    if base is None:
        return tables
    return {name: _rounded(name, rows, base) for name, rows in tables.items()}


def nearest_multiple(count: pl.Expr, base: int) -> pl.Expr:
    """The nearest multiple of a whole count; for an even base halves go up. Null stays null."""
    return (2 * count + base) // (2 * base) * base


def _rounded(name: str, rows: pl.DataFrame, base: int) -> pl.DataFrame:
    counts = [column for column in _COUNTS if column in rows.columns]
    found = rows.with_columns(nearest_multiple(pl.col(column), base).alias(column) for column in counts)
    if not {"proportion", "denominator"} <= set(rows.columns):
        return found
    of_base = pl.when(pl.col("denominator") > 0).then(base / pl.col("denominator"))
    share = to_nearest(pl.col("proportion"), of_base).clip(upper_bound=1.0)
    if name in _SHARES_OF_COUNTS:
        is_shown = pl.col("proportion").is_not_null() & (pl.col("denominator") > 0)
        share = pl.when(is_shown).then(pl.col("n") / pl.col("denominator"))
    found = found.with_columns(proportion=share)
    if "low" not in rows.columns:
        return found
    low, high = downward(pl.col("low"), of_base), upward(pl.col("high"), of_base).clip(upper_bound=1.0)
    found = found.with_columns(  # a horizontal minimum passes over what is empty, and would fill in a withheld limit
        low=pl.when(low.is_not_null()).then(pl.min_horizontal(low, "proportion")),
        high=pl.when(high.is_not_null()).then(pl.max_horizontal(high, "proportion")),
    )
    return _with_wilson_limits(found) if name == "prevalence" else found


def _with_wilson_limits(rows: pl.DataFrame) -> pl.DataFrame:
    """A site's own interval depends on nothing but its two counts, and so is made anew of the rounded ones."""
    is_alone = (pl.col("population") == "site") & pl.col("low").is_not_null() & (pl.col("denominator") > 0)
    low, high = wilson_interval(
        rows["n"].fill_null(0).to_numpy(), rows["denominator"].fill_null(0).to_numpy()
    )
    return rows.with_columns(
        low=pl.when(is_alone).then(pl.Series(low)).otherwise("low"),
        high=pl.when(is_alone).then(pl.Series(high)).otherwise("high"),
    )
