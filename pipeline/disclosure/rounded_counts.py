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
    other shares of people    likewise, among outcomes, retention and comparisons of sites; their limits as so many
                              steps away from the share as told
    ratio of a site           to steps of `base` people over those expected, since ratio times expected is the count;
                              its score to the step that `base` people move it by

Figures that are no counts of people nor shares of them (percentiles, odds ratios, means) are as they were: they are
already told no more exactly than a person or more would change them (pipeline/disclosure/derived.py, site_rules.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipeline.disclosure.outcome_rules import SHARES
from pipeline.disclosure.rounding import downward, to_nearest, upward
from pipeline.statistics.proportion_interval import wilson_interval

_COUNTS = ("n", "denominator")
_SHARES_OF_COUNTS = ("prevalence", "data_quality")


@dataclass(frozen=True)
class _Shares:
    """Shares of people in columns of other names: which rows, of how many people, and figures: (share, low, high) or
    the share alone. most: what no limit goes beyond.
    """

    where: pl.Expr
    of: str
    figures: tuple[tuple[str, ...], ...]
    most: float = 1.0


_VALUES = (("value", "low", "high"), ("shrunken", "shrunken_low", "shrunken_high"))
_OTHER_SHARES = {
    "outcome": [_Shares((pl.col("unit") == "1") & pl.col("statistic").is_in(SHARES), "n", _VALUES[:1])],
    "outcome_site": [_Shares(pl.col("unit") == "1", "denominator", _VALUES)],
    "site_comparison": [
        _Shares(pl.col("band") != "", "denominator", _VALUES),
        _Shares(pl.col("band") != "", "expected", (("ratio", "ratio_low", "ratio_high"),), float("inf")),
    ],
    "retention_balance": [
        _Shares(pl.lit(True), "denominator", (("share_due",),)),
        _Shares(
            pl.lit(True), "n", (("share_seen",), ("share_weighted",), ("difference_before",), ("difference_after",))
        ),
    ],
}


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
    for shares in _OTHER_SHARES.get(name, ()):
        found = _stepped(found, shares, base)
    if name == "site_comparison":
        found = _with_coarse_scores(found, base)
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


def _stepped(rows: pl.DataFrame, shares: _Shares, base: int) -> pl.DataFrame:
    """Shares told in steps of `base` people of those that they are of; empty where nobody is left of these.

    A limit is told as so many steps away from its share as told, never nearer than it is: to round it by itself would
    say on which side of its own edge the count lies.
    """
    step = pl.when(pl.col(shares.of) > 0).then(base / pl.col(shares.of))
    told = {}
    for share, *limits in shares.figures:
        if share not in rows.columns:
            continue
        told[share] = to_nearest(pl.col(share), step)
        for sign, limit in zip((-1, 1), limits, strict=False):
            away = upward(sign * (pl.col(limit) - pl.col(share)) + step / 2, step)
            told[limit] = (told[share] + sign * away).clip(0.0, shares.most)
    return rows.with_columns(
        pl.when(shares.where).then(figure).otherwise(pl.col(name)).alias(name) for name, figure in told.items()
    )


def _with_coarse_scores(rows: pl.DataFrame, base: int) -> pl.DataFrame:
    """A score is (n - expected) over at least sqrt(expected (1 - expected / denominator)): told in steps of `base`."""
    if not {"score", "expected"} <= set(rows.columns):
        return rows
    spread = (pl.col("expected") * (1 - pl.col("expected") / pl.col("denominator"))).sqrt()
    step = pl.when(spread > 0).then(base / spread)
    coarse = pl.when(pl.col("band") != "").then(to_nearest(pl.col("score"), step)).otherwise("score")
    return rows.with_columns(score=coarse)


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
