"""Band tallies → the published table of trends over periods."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.measures import Banding
from pipeline.statistics.age_group import SEXES, AgeGroups, ages_reported
from pipeline.statistics.trend import trend_over_periods

METHOD = "logistic trend within age group and sex, jackknife over sites"

_SCHEMA = {
    "banding": pl.String,
    "band": pl.String,
    "sex": pl.String,
    "age_from": pl.Int16,
    "age_to": pl.Int16,
    "period_from": pl.String,
    "period_to": pl.String,
    "periods": pl.Int64,
    "n": pl.Int64,
    "denominator": pl.Int64,
    "odds_ratio": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    "points_a_period": pl.Float64,
    "p": pl.Float64,
    "method": pl.String,
    "flag": pl.String,
}


def trend_table(
    band_tally: pl.DataFrame, bandings: Sequence[Banding], age_groups: AgeGroups, age_totals: AgeGroups
) -> pl.DataFrame:
    """Whether the share of people in each band rises or falls over the periods, for all sites together.

    Each age group of each sex has its own level, so a cohort that grows older shows no trend for that alone.

    Shapes   band_tally: columns site, period, sex, age, banding, band, n; out: columns of result.trend, one row a
             banding, band, sex and age total in which the banding is reported; sorted as registered, by sex and age.
    Units    n and denominator in people a period, added up over periods: one person counts in each of their periods.
             odds_ratio, low and high a period; points_a_period from 0 to 1.
    Missing  nothing where there are fewer than two periods. Where no trend can be estimated its figures are null and
             method says why; p is null also where sites are exactly alike.
    Source   trend.trend_over_periods.
    """
    rows: list[tuple] = []
    for banding in bandings:
        tally = _numbered(band_tally.filter(pl.col("banding") == banding.name), age_groups)
        reported = ages_reported([*age_groups, *age_totals], banding.age_from, banding.age_to)
        totals = [total for total in reported if total in age_totals]
        for band in banding.bands:
            cells = _cells(tally, band.name)
            for sex in ("all", *SEXES):
                for total in totals:
                    is_inside = pl.col("age").is_between(*total) & ((pl.col("sex") == sex) | (sex == "all"))
                    rows += _row((banding.name, band.name, sex, *total), cells.filter(is_inside))
    return pl.DataFrame(rows, schema=_SCHEMA, orient="row")


def period_number(period: str) -> int:
    """Consecutive numbers for 2025Q3 and 2025-07: a quarter or a month without readings still takes its time.

    Errors   ValueError for any other spelling.
    """
    found = re.fullmatch(r"(\d{4})(?:Q([1-4])|-(0[1-9]|1[0-2]))", period)
    if not found:
        raise ValueError(f"period {period}: a quarter such as 2025Q3 or a month such as 2025-07 is expected")
    year, quarter, month = found.groups()
    return int(year) * 4 + int(quarter) if quarter else int(year) * 12 + int(month)


def _numbered(tally: pl.DataFrame, age_groups: AgeGroups) -> pl.DataFrame:
    periods = tally["period"].unique().sort().to_list()
    starts = sorted(low for low, _ in age_groups)
    return tally.with_columns(
        number=pl.col("period").replace_strict({p: period_number(p) for p in periods}, return_dtype=pl.Int64),
        group=pl.lit(pl.Series(starts)).search_sorted(pl.col("age").cast(pl.Int64), side="right"),
    )


def _cells(tally: pl.DataFrame, band: str) -> pl.DataFrame:
    """Site × period × sex × age: people in the band, and people."""
    return (
        tally.group_by("site", "period", "number", "sex", "age", "group")
        .agg(count=pl.col("n").filter(pl.col("band") == band).sum(), people=pl.col("n").sum())
        .sort("site", "number", "sex", "age")
    )


def _row(key: tuple, cells: pl.DataFrame) -> list[tuple]:
    periods = cells["period"].unique().sort().to_list()
    if len(periods) < 2:
        return []
    grouped = (
        cells.group_by("site", "number", "sex", "group")
        .agg(pl.col("count").sum(), pl.col("people").sum())
        .sort("site", "number", "sex", "group")
    )
    stratum = grouped.select((pl.col("sex") == "male").cast(pl.Int64) * 1000 + pl.col("group").cast(pl.Int64))
    first = grouped["number"].min()
    figures: tuple[float | None, ...] = (None,) * 5
    method = METHOD
    try:
        trend = trend_over_periods(
            grouped["count"].to_numpy(),
            grouped["people"].to_numpy(),
            (grouped["number"] - first).to_numpy(),
            grouped["site"].to_numpy(),
            stratum.to_series().to_numpy(),
        )
        found = (trend.odds_ratio, trend.low, trend.high, trend.points_a_period, trend.p)
        figures = tuple(float(x) if np.isfinite(x) else None for x in found)
    except ValueError as error:
        method = f"none: {str(error).partition(':')[0]}"
    totals = (cells["count"].sum(), cells["people"].sum())
    return [(*key, periods[0], periods[-1], len(periods), *totals, *figures, method, None)]
