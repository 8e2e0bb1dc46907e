"""Figures worked out of counts, as what they say of the counts: sums over periods, and expected numbers.

trend            n and denominator are sums over the periods of a band's people, all sites together
site_comparison  expected is told in whole people: the sum over sex and age groups of the site's people times the
                 share of all sites, which is a row over the atoms where every one of those shares is published
data_quality     nobody counts without a reading that does
"""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy.sparse import csr_array

from pipeline.audit.atoms import SEXES, Atoms
from pipeline.audit.knowledge import Rows
from pipeline.audit.shown_counts import EVERYONE, KEY
from pipeline.measures import AGE_HIGH, AGE_LOW, BANDINGS

WHOLE = 0.5  # half a person: what rounding to whole people leaves open


def rows_of_bounds(atoms: Atoms, bounds: pl.DataFrame, counts: pl.DataFrame) -> Rows:
    """thresholds.bounds_below and counts_below as rows."""
    sums = _gathered(counts["bound"].to_numpy(), np.ones(counts.height), bounds.height) @ atoms.sums(counts)
    return Rows(csr_array(sums), bounds["least"].to_numpy(), bounds["most"].to_numpy())


def rows_of_trends(atoms: Atoms, trend: pl.DataFrame, true: pl.DataFrame) -> Rows:
    """Each shown n and denominator of the trends, where the release has every period that a trend runs over.

    The frozen release of one period has trends up to it and the counts of that period alone: there a sum over periods
    says nothing of any one of them that the earlier releases did not.
    """
    periods = true["period"].unique()
    between = [periods.is_between(first, last).sum() for first, last in trend.select("period_from", "period_to").rows()]
    trend = trend.filter(pl.Series(between, dtype=pl.Int64) == pl.col("periods").cast(pl.Int64))
    parts = []
    for column, kind, band in (("n", "band", pl.col("band")), ("denominator", "people", pl.lit(""))):
        of_kind = trend.select(
            kind=pl.lit(kind), family="banding", band=band, site=pl.lit(""), sex="sex",
            age_from=pl.col("age_from").cast(pl.Int64),
            age_to=pl.min_horizontal(pl.col("age_to").cast(pl.Int64), _last_age()),
            n=pl.col(column).cast(pl.Float64),
        )  # fmt: skip
        parts.append(of_kind.unique(maintain_order=True))
    shown = pl.concat(parts).drop_nulls("n").with_row_index("sum")
    by_period = shown.join(
        true.select(KEY), on=[name for name in KEY if name != "period"], maintain_order="left"
    )
    sums = _gathered(by_period["sum"].to_numpy(), np.ones(by_period.height), shown.height)
    value = shown["n"].to_numpy()
    return Rows(csr_array(sums @ atoms.sums(by_period.select(KEY))), value, value)


def rows_of_expected(atoms: Atoms, compared: pl.DataFrame, known: pl.DataFrame) -> Rows:
    """Each shown expected number of people in a band of a site."""
    shown = (
        compared.filter((pl.col("band") != "") & pl.col("expected").is_not_null())
        .select(
            "site", "period", "band", "expected", family="topic", age_from=pl.col("age_from").cast(pl.Int64),
            age_to=pl.min_horizontal(pl.col("age_to").cast(pl.Int64), _last_age("topic")),
        )
        .with_row_index("sum")
    )  # fmt: skip
    strata = pl.DataFrame(
        [
            (family, *atoms.ages[i], sex)
            for family in BANDINGS
            for i in atoms.reach.get(family, ())
            for sex in SEXES
        ],
        schema={"family": pl.String, "low": pl.Int64, "high": pl.Int64, "sex": pl.String},
        orient="row",
    )
    inside = shown.join(strata, on="family", maintain_order="left").filter(
        (pl.col("age_from") <= pl.col("low")) & (pl.col("high") <= pl.col("age_to"))
    )
    of_all = known.filter(site="").select(
        "kind", "family", "band", "period", "sex", low="age_from", high="age_to", n="n"
    )
    group = ["family", "period", "sex", "low", "high"]
    whole = of_all.filter(kind="people").select(*group, whole="n")
    shares = of_all.filter(kind="band").join(whole, on=group).filter(pl.col("whole") > 0)
    shares = shares.select(*group, "band", share=pl.col("n") / pl.col("whole"))
    weighed = inside.join(shares, on=[*group, "band"], how="left", maintain_order="left")
    unknown = weighed.filter(pl.col("share").is_null())["sum"].unique()
    weighed = weighed.filter(~pl.col("sum").is_in(unknown.implode()))
    kept = shown.filter(~pl.col("sum").is_in(unknown.implode()))
    people = weighed.select(
        kind=pl.lit("people"), family="family", band=pl.lit(""), site="site", period="period", sex="sex",
        age_from="low", age_to="high",
    )  # fmt: skip
    place = np.searchsorted(kept["sum"].to_numpy(), weighed["sum"].to_numpy())
    sums = _gathered(place, weighed["share"].to_numpy(), kept.height) @ atoms.sums(people)
    expected = kept["expected"].to_numpy()
    return Rows(csr_array(sums), expected - WHOLE, expected + WHOLE)


def rows_of_readings(atoms: Atoms, quality: pl.DataFrame) -> Rows:
    """People of a site and period, at most the readings that count there."""
    shown = quality.filter(
        (pl.col("item") == "readings") & pl.col("n").is_not_null() & (pl.lit(EVERYONE in atoms.scale_of))
    )
    people = shown.select(
        kind=pl.lit("people"), family=pl.lit(EVERYONE), band=pl.lit(""), site=pl.col("site").fill_null(""),
        period="period", sex=pl.lit("all"), age_from=pl.lit(AGE_LOW, dtype=pl.Int64),
        age_to=pl.lit(AGE_HIGH, dtype=pl.Int64),
    )  # fmt: skip
    return Rows(atoms.sums(people), np.zeros(people.height), shown["n"].to_numpy().astype(float))


def _last_age(column: str = "banding") -> pl.Expr:
    return pl.col(column).replace_strict(
        {name: it.age_to for name, it in BANDINGS.items()}, default=AGE_HIGH, return_dtype=pl.Int64
    )


def _gathered(row: np.ndarray, weight: np.ndarray, rows: int) -> csr_array:
    """(rows, entries): adds weighed entries up into rows."""
    return csr_array((weight, (row, np.arange(row.size))), shape=(rows, row.size))
