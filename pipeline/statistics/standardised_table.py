"""Band tallies → the published table of prevalences standardised to the ages of a standard population."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.measures import Banding
from pipeline.statistics.age_group import SEXES, AgeGroups
from pipeline.statistics.direct_standardisation import (
    binomial_variance,
    fay_feuer_interval,
    jackknifed_variance,
    logit_interval,
    standardised_proportion,
)
from pipeline.statistics.reliability import flag, nchs_reliability
from pipeline.statistics.standard_strata import (
    Floats,
    Total,
    blocks_of_strata,
    merged_strata,
    standardised_groups,
    weights_of_narrowed,
)

Key = tuple[Banding, Total, str]

_SELECTIONS = (("all", [0, 1]), ("female", [0]), ("male", [1]))
_SCHEMA = {
    "banding": pl.String,
    "band": pl.String,
    "population": pl.String,
    "site": pl.String,
    "period": pl.String,
    "sex": pl.String,
    "age_from": pl.Int16,
    "age_to": pl.Int16,
    "standard": pl.String,
    "n": pl.Int64,
    "denominator": pl.Int64,
    "proportion": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    "method": pl.String,
    "flag": pl.String,
    "person_weight": pl.Float64,
}


def standardised_table(
    band_tally: pl.DataFrame,
    bandings: Sequence[Banding],
    age_groups: AgeGroups,
    age_totals: AgeGroups,
    standard: str,
    bands: pl.DataFrame,
) -> pl.DataFrame:
    """Directly standardised share of people in each band, for all sites together and for each site.

    The strata are the published age groups, so every figure can be worked out from published ones. Of both sexes
    together each age group is split into women and men, who weigh the same: half and half, whatever the cohort.
    Where an age group has fewer than LEAST_IN_STRATUM people of a sex that counts it is merged with the next
    younger one, from the oldest down; what is left at the youngest end joins the next older.

    Shapes   band_tally: columns site, period, sex, age, banding, band, n; bands: the standard's own, columns
             standard, age_band, weight. out: columns of result.standardised_prevalence, one row a banding, band,
             population, site, period, sex and age total; sorted by banding and band as registered, then as named.
    Units    n and denominator are the crude ones, in people; proportion, low and high from 0 to 1. person_weight is
             how far one person moves the proportion at most, from 0 to 1.
    Missing  no row where a sex that counts has under LEAST_IN_STRATUM people in all, nor for a banding whose ages end
             inside a band of the standard (body fat at 79, US 2000's 75 to 84). site is null for all sites.
    Errors   ValueError for a standard whose bands would be split by an age group.
    Source   direct_standardisation. Of all sites, logit interval with sites as clusters; of a site, and where
             nobody or everybody is in the band, the gamma interval of Fay & Feuer (1997).
    """
    parts = [pl.DataFrame(schema=_SCHEMA)]
    for banding in bandings:
        for total, groups in standardised_groups(banding, age_groups, age_totals):
            weight = weights_of_narrowed(bands, total, groups)
            if weight is None:
                continue
            key = (banding, total, standard)
            inside = pl.col("age").is_between(groups[0][0], groups[-1][1])
            tally = band_tally.filter((pl.col("banding") == banding.name) & inside)
            if tally.height:
                parts += _rows_of_total(key, tally, groups, weight)
    names = pl.DataFrame(
        [(banding.name, band.name) for banding in bandings for band in banding.bands],
        schema={"banding": pl.String, "band": pl.String},
        orient="row",
    ).with_row_index("order")
    published = ("order", "population", "site", "period", "sex", "age_from", "age_to")
    return pl.concat(parts).join(names, on=["banding", "band"]).sort(published).drop("order")


def _rows_of_total(
    key: Key, tally: pl.DataFrame, groups: Sequence[Total], weight: Floats
) -> Iterator[pl.DataFrame]:
    counts, sites, periods = _counts(tally, key[0], groups)
    for sex, of in _SELECTIONS:
        cells = counts[:, :, of]
        for at, period in enumerate(periods):
            yield from _rows_of_all(key, (period, sex), cells[:, at], weight)
        places = pl.DataFrame(
            {"site": np.repeat(sites, len(periods)), "period": np.tile(periods, len(sites)), "sex": sex}
        )
        yield from _rows_of_sites(key, places, cells.reshape(-1, *cells.shape[2:]), weight)


def _counts(
    tally: pl.DataFrame, banding: Banding, groups: Sequence[Total]
) -> tuple[Floats, list[str], list[str]]:
    """People as (sites, periods, sexes, strata, bands), and the names of sites and periods."""
    sites, periods = (tally[name].unique().sort().to_list() for name in ("site", "period"))
    counts = np.zeros((len(sites), len(periods), len(SEXES), len(groups), len(banding.bands)))
    stratum = {age: i for i, (low, high) in enumerate(groups) for age in range(low, high + 1)}
    places = tally.select(
        pl.col("site").replace_strict({s: i for i, s in enumerate(sites)}, return_dtype=pl.Int64),
        pl.col("period").replace_strict({s: i for i, s in enumerate(periods)}, return_dtype=pl.Int64),
        pl.col("sex").replace_strict({s: i for i, s in enumerate(SEXES)}, return_dtype=pl.Int64),
        pl.col("age").cast(pl.Int64).replace_strict(stratum, return_dtype=pl.Int64),
        pl.col("band").replace_strict(
            {band.name: i for i, band in enumerate(banding.bands)}, return_dtype=pl.Int64
        ),
    )
    np.add.at(counts, tuple(places[name].to_numpy() for name in places.columns), tally["n"].to_numpy())
    return counts, sites, periods


def _rows_of_all(
    key: Key, place: tuple[str, str], counts: Floats, weight: Floats
) -> Iterator[pl.DataFrame]:
    """All sites together, in one period, of one sex or both. counts: (sites, sexes, strata, bands)."""
    block = merged_strata(counts.sum(axis=3).sum(axis=0))
    if block is None:
        return
    pooled, share = _pooled(counts, block, weight)
    strata = pooled.sum(axis=2)
    sites = int((strata.sum(axis=1) > 0).sum())
    variances, freedom = None, np.inf
    if sites > 1:
        clustered = [jackknifed_variance(pooled[:, :, i], strata, share) for i in range(pooled.shape[2])]
        variances, freedom = np.array([v for v, _ in clustered]), float(clustered[0][1])
    places = pl.DataFrame({"site": [None], "period": place[:1], "sex": place[1:]}, schema_overrides={"site": pl.String})
    figures = _figures(pooled.sum(axis=0, keepdims=True), share, variances, freedom, sites)
    yield _rows(key, "all", places, pooled.sum(axis=0, keepdims=True), share, figures, block, weight.size)


def _rows_of_sites(key: Key, places: pl.DataFrame, counts: Floats, weight: Floats) -> Iterator[pl.DataFrame]:
    """Each site in each period, of one sex or both; those whose strata merge alike are worked out together.

    Shapes   places: columns site, period, sex, one row a cell; counts: (cells, sexes, strata, bands).
    """
    block = blocks_of_strata(counts.sum(axis=3))
    for alike in np.unique(block[block[:, 0] >= 0], axis=0):
        at = np.flatnonzero((block == alike).all(axis=1))
        pooled, share = _pooled(counts[at], alike, weight)
        yield _rows(
            key, "site", places[at], pooled, share, _figures(pooled, share, None, np.inf, 1), alike, weight.size
        )


def _pooled(counts: Floats, block: NDArray[np.int64], weight: Floats) -> tuple[Floats, Floats]:
    """Counts of merged strata, a sex after the other, and their shares of the standard.

    Shapes   counts: (cells, sexes, strata, bands); out: (cells, sexes × blocks, bands), (sexes × blocks,).
    """
    cells, sexes, _, bands = counts.shape
    blocks = int(block[-1]) + 1
    pooled = np.zeros((cells, sexes, blocks, bands))
    np.add.at(pooled, (slice(None), slice(None), block), counts)
    share = np.tile(np.bincount(block, weight), sexes) / sexes
    return pooled.reshape(cells, sexes * blocks, bands), share


def _rows(
    key: Key,
    population: str,
    places: pl.DataFrame,
    pooled: Floats,
    share: Floats,
    figures: _Figures,
    block: NDArray[np.int64],
    strata: int,
) -> pl.DataFrame:
    """One row a cell and band. places: one row a cell; pooled: (cells, strata, bands)."""
    banding, (age_from, age_to), standard = key
    cells, _, bands = pooled.shape
    blocks = int(block[-1]) + 1
    people = pooled.sum(axis=2)
    alike = f"; {blocks} of {strata} age groups" + (", women and men alike" if share.size > blocks else "")
    return pl.DataFrame(
        {
            "banding": banding.name,
            "band": np.tile([band.name for band in banding.bands], cells),
            "population": population,
            **{name: places[name].gather(np.repeat(np.arange(cells), bands)) for name in places.columns},
            "age_from": age_from,
            "age_to": age_to,
            "standard": standard,
            "n": np.rint(pooled.sum(axis=1)).astype(np.int64).ravel(),
            "denominator": np.repeat(np.rint(people.sum(axis=1)).astype(np.int64), bands),
            "proportion": figures.proportion,
            "low": figures.low,
            "high": figures.high,
            "method": [method + alike for method in figures.method],
            "flag": figures.flag,
            "person_weight": np.repeat((share / people).max(axis=1), bands),
        },
        schema=_SCHEMA,
    ).with_columns(pl.col("flag").replace("", None))


@dataclass(frozen=True)
class _Figures:
    """Each (cells × bands,), a cell's bands side by side."""

    proportion: Floats
    low: Floats
    high: Floats
    method: list[str]
    flag: list[str]


def _figures(
    pooled: Floats, share: Floats, variances: Floats | None, freedom: float, sites: int
) -> _Figures:
    """pooled: (cells, strata, bands); variances: (cells × bands,) between sites, None for people counted one by one."""
    cells, strata, bands = pooled.shape
    count = pooled.transpose(0, 2, 1).reshape(cells * bands, strata)
    people = np.repeat(pooled.sum(axis=2), bands, axis=0)
    proportion = standardised_proportion(count, people, share)
    low, high = fay_feuer_interval(count, people, share)
    method = np.full(proportion.size, "direct, Fay-Feuer interval", dtype=object)
    variance = binomial_variance(count, people, share) if variances is None else variances
    if variances is not None:
        logit_low, logit_high = logit_interval(proportion, variance, freedom)
        inside = np.isfinite(logit_low)
        low, high = np.where(inside, logit_low, low), np.where(inside, logit_high, high)
        method[inside] = f"direct, logit interval, {sites} sites as clusters"
    low, high = np.minimum(low, proportion), np.clip(high, proportion, 1)
    whole, n = people.sum(axis=1), count.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        effective = np.where(variance > 0, np.minimum(proportion * (1 - proportion) / variance, whole), whole)
    status, _ = nchs_reliability(proportion * whole, whole, effective, low, high, freedom)
    is_end = (n == 0) | (n == whole)
    return _Figures(proportion, low, high, method.tolist(), np.where(is_end, "", flag(status)).tolist())
