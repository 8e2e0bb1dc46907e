"""Band tallies → the published table of trends over periods."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

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

    Shapes   band_tally: columns site, period, sex, age (or the first of the age group), banding, band, n;
             out: columns of result.trend, one row a banding, band, sex and age total in which the banding is reported;
             sorted as registered, by sex and age.
    Units    n and denominator in people a period, added up over periods: one person counts in each of their periods.
             odds_ratio, low and high a period; points_a_period from 0 to 1.
    Missing  nothing where there are fewer than two periods. Where no trend can be estimated its figures are null and
             method says why; p is null also where sites are exactly alike.
    Source   trend.trend_over_periods.
    """
    rows: list[tuple] = []
    for banding in bandings:
        reported = ages_reported([*age_groups, *age_totals], banding.age_from, banding.age_to)
        totals = [total for total in reported if total in age_totals]
        tally = band_tally.filter(pl.col("banding") == banding.name)
        counts = _Counts.of(tally, banding, age_groups, totals)
        for i, band in enumerate(banding.bands):
            for sex in ("all", *SEXES):
                for total in totals:
                    rows += _row((banding.name, band.name, sex, *total), counts, i)
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


@dataclass(frozen=True)
class _Counts:
    """People by site, period, sex, ages and band: (sites, periods, sexes, ages, bands), sites and periods by name.

    low, high, group: (ages,), the first and last of ages that are counted together, and the number of their age group.
    None stand on both sides of an end of a group or total.
    """

    people: NDArray[np.int64]
    periods: list[str]
    low: NDArray[np.int64]
    high: NDArray[np.int64]
    group: NDArray[np.int64]

    @classmethod
    def of(cls, tally: pl.DataFrame, banding: Banding, age_groups: AgeGroups, totals: AgeGroups) -> _Counts:
        sites, periods = (tally[name].unique().sort() for name in ("site", "period"))
        ages = np.arange(banding.age_from, banding.age_to + 1)
        bands = [band.name for band in banding.bands]
        at = [
            tally[name].cast(pl.Enum(words)).to_physical().cast(pl.Int64).to_numpy()
            for name, words in (("site", sites), ("period", periods), ("sex", SEXES), ("band", bands))
        ]
        at.insert(3, tally["age"].cast(pl.Int64).to_numpy() - banding.age_from)
        shape = (sites.len(), periods.len(), len(SEXES), ages.size, len(bands))
        cell = np.ravel_multi_index(at, shape)
        people = np.bincount(cell, tally["n"].to_numpy(), np.prod(shape, dtype=np.int64)).reshape(shape)
        starts = np.array(sorted(low for low, _ in age_groups))
        edges = [*starts, *(low for low, _ in totals), *(high + 1 for _, high in totals)]
        low = np.unique([ages[0], *(edge for edge in edges if ages[0] < edge <= ages[-1])])
        return cls(
            np.add.reduceat(people.astype(np.int64), low - ages[0], axis=3),
            periods.to_list(),
            low,
            np.append(low[1:], ages[-1] + 1) - 1,
            np.searchsorted(starts, low, side="right"),
        )

    def of_group(self, sex: str, total: tuple[int, int], band: int) -> tuple[NDArray[np.int64], ...]:
        """People in the band, and people, by site, period, sex and age group: each (sites, periods, sexes, groups)."""
        sexes = slice(None) if sex == "all" else slice(SEXES.index(sex), SEXES.index(sex) + 1)
        is_in = (self.low >= total[0]) & (self.high <= total[1])
        inside = self.people[:, :, sexes, is_in]
        first = np.flatnonzero(np.diff(self.group[is_in], prepend=-1))
        grouped = np.add.reduceat(inside, first, axis=3) if first.size else inside
        return grouped[..., band], grouped.sum(axis=4)


def _row(key: tuple, counts: _Counts, band: int) -> list[tuple]:
    _, _, sex, *total = key
    count, people = counts.of_group(sex, tuple(total), band)
    is_there = people.sum(axis=(0, 2, 3)) > 0
    periods = [period for period, there in zip(counts.periods, is_there, strict=True) if there]
    if len(periods) < 2:
        return []
    numbers = np.array([period_number(period) for period in counts.periods])
    site, period, of_sex, group = np.nonzero(people)
    figures: tuple[float | None, ...] = (None,) * 5
    method = METHOD
    try:
        trend = trend_over_periods(
            count[site, period, of_sex, group],
            people[site, period, of_sex, group],
            numbers[period] - numbers[period].min(),
            site,
            of_sex * people.shape[3] + group,
        )
        found = (trend.odds_ratio, trend.low, trend.high, trend.points_a_period, trend.p)
        figures = tuple(float(x) if np.isfinite(x) else None for x in found)
    except ValueError as error:
        method = f"none: {str(error).partition(':')[0]}"
    totals = (int(count.sum()), int(people.sum()))
    return [(*key, periods[0], periods[-1], len(periods), *totals, *figures, method, None)]
