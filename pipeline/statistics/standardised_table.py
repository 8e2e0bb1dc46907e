"""Band tallies → the published table of prevalences standardised to the ages of a standard population."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.measures import Banding
from pipeline.statistics.age_group import SEXES, AgeGroups, ages_reported
from pipeline.statistics.direct_standardisation import (
    binomial_variance,
    fay_feuer_interval,
    jackknifed_variance,
    logit_interval,
    standardised_proportion,
)
from pipeline.statistics.reliability import flag, nchs_reliability
from pipeline.statistics.standard_population import standard_weights

Floats = NDArray[np.float64]
Total = tuple[int, int]

LEAST_IN_STRATUM = 10  # people of each sex in an age group that stands alone; project's choice

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
    rows: list[tuple] = []
    for banding in bandings:
        for total, groups in standardised_groups(banding, age_groups, age_totals):
            weight = _weights_of_narrowed(bands, total, groups)
            if weight is None:
                continue
            key = (banding, total, standard)
            inside = pl.col("age").is_between(groups[0][0], groups[-1][1])
            tally = band_tally.filter((pl.col("banding") == banding.name) & inside)
            if tally.height:
                rows += _rows_of_total(key, tally, groups, weight)
    order = {(b.name, band.name): (i, j) for i, b in enumerate(bandings) for j, band in enumerate(b.bands)}
    rows.sort(key=lambda row: (order[row[:2]], row[2], row[3] or "", *row[4:8]))
    return pl.DataFrame(rows, schema=_SCHEMA, orient="row")


def standardised_groups(
    banding: Banding, age_groups: AgeGroups, age_totals: AgeGroups
) -> list[tuple[Total, list[Total]]]:
    """The age totals in which a banding is standardised, each with its strata: the age groups inside, narrowed to
    the ages of the banding."""
    reported = ages_reported([*age_groups, *age_totals], banding.age_from, banding.age_to)
    found = []
    for total in reported:
        if total in age_totals:
            inside = [g for g in sorted(age_groups) if total[0] <= g[0] and g[1] <= total[1]]
            strata = [(a, min(b, banding.age_to)) for a, b in inside if a <= banding.age_to]
            if len(strata) > 1:
                found.append((total, strata))
    return found


def group_weights(bands: pl.DataFrame, groups: Sequence[Total]) -> Floats:
    """The share of the standard population in each age group, adding to 1 over them.

    Errors   ValueError for a band that an age group would split, for ages in no band or in two, or no weight at all.
    """
    standard = bands["standard"][0]
    whole = standard_weights(bands, standard, groups[0][0], groups[-1][1])
    edges = whole.select("age_from", "age_to").rows()
    following = [groups[0][0], *(b + 1 for _, b in edges)]
    for start, (low, _) in zip(following, edges, strict=False):
        if low != start:
            raise ValueError(f"age {min(low, start)} stands in no band or in two: each age is in one")
    if following[-1] <= groups[-1][1]:
        raise ValueError(f"age {following[-1]} stands in no band: each age is in one")
    weight = []
    for low, high in groups:
        split = [(a, b) for a, b in edges if a <= high and b >= low and not (low <= a and b <= high)]
        if split:
            a, b = split[0]
            raise ValueError(f"the age group {low} to {high} would split its band {a}-{b}")
        weight.append(whole.filter(pl.col("age_from").is_between(low, high))["weight"].sum())
    if not sum(weight) > 0:
        raise ValueError("its weights add to 0 over these ages")
    return np.array(weight)


def _weights_of_narrowed(bands: pl.DataFrame, total: Total, groups: Sequence[Total]) -> Floats | None:
    """group_weights, or None where it is the banding's own last age, not the settings, that would split a band."""
    try:
        return group_weights(bands, groups)
    except ValueError:
        if groups[-1][1] < total[1]:
            return None
        raise


def _rows_of_total(
    key: tuple[Banding, Total, str], tally: pl.DataFrame, groups: Sequence[Total], weight: Floats
) -> list[tuple]:
    banding = key[0]
    counts, sites, periods = _counts(tally, banding, groups)
    rows = []
    for at, period in enumerate(periods):
        here = counts[:, at]  # (sites, sexes, strata, bands)
        populations = [("all", None, here)] + [
            ("site", site, here[[i]]) for i, site in enumerate(sites) if here[i].sum() > 0
        ]
        for population, site, cells in populations:
            for sex, of in (("all", [0, 1]), ("female", [0]), ("male", [1])):
                rows += _rows_of_cell(key, (population, site, period, sex), cells[:, of], weight)
    return rows


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


def _rows_of_cell(
    key: tuple[Banding, Total, str], cell: tuple[str, str | None, str, str], counts: Floats, weight: Floats
) -> list[tuple]:
    """One row a band. counts: (sites, sexes, strata, bands) of the sexes that count."""
    banding, (age_from, age_to), standard = key
    people = counts.sum(axis=3)
    block = merged_strata(people.sum(axis=0))
    if block is None:
        return []
    blocks, sexes = int(block[-1]) + 1, counts.shape[1]
    shape = (counts.shape[0], sexes, blocks, counts.shape[3])
    pooled = np.zeros(shape)
    np.add.at(pooled, (slice(None), slice(None), block), counts)
    share = np.tile(np.bincount(block, weight), sexes) / sexes
    pooled = pooled.reshape(shape[0], sexes * blocks, shape[3])
    strata = pooled.sum(axis=2)
    is_clustered = cell[0] == "all" and int((strata.sum(axis=1) > 0).sum()) > 1
    whole, whole_strata = (
        pooled.sum(axis=0).T,
        np.broadcast_to(strata.sum(axis=0), pooled.shape[2:] + strata.shape[1:]),
    )
    figures = _figures(pooled, strata, whole, whole_strata, share, is_clustered)
    n, denominator = whole.sum(axis=1), strata.sum()
    person_weight = float(np.max(share / strata.sum(axis=0)))
    return [
        (
            banding.name,
            band.name,
            *cell,
            age_from,
            age_to,
            standard,
            round(n[i]),
            round(denominator),
            *(float(part[i]) for part in figures[:3]),
            f"{figures[3][i]}; {blocks} of {weight.size} age groups"
            + (", women and men alike" if sexes == 2 else ""),
            figures[4][i] or None,
            person_weight,
        )
        for i, band in enumerate(banding.bands)
    ]


def _figures(
    pooled: Floats, strata: Floats, whole: Floats, whole_strata: Floats, share: Floats, is_clustered: bool
) -> tuple[Floats, Floats, Floats, list[str], list[str]]:
    """proportion, low, high, method and flag, each (bands,)."""
    proportion = standardised_proportion(whole, whole_strata, share)
    low, high = fay_feuer_interval(whole, whole_strata, share)
    method = np.full(proportion.size, "direct, Fay-Feuer interval", dtype=object)
    variance, freedom = binomial_variance(whole, whole_strata, share), np.inf
    if is_clustered:
        clustered = [jackknifed_variance(pooled[:, :, i], strata, share) for i in range(proportion.size)]
        variance, freedom = np.array([v for v, _ in clustered]), float(clustered[0][1])
        logit_low, logit_high = logit_interval(proportion, variance, freedom)
        inside = np.isfinite(logit_low)
        low, high = np.where(inside, logit_low, low), np.where(inside, logit_high, high)
        sites = int((strata.sum(axis=1) > 0).sum())
        method[inside] = f"direct, logit interval, {sites} sites as clusters"
    low, high = np.minimum(low, proportion), np.clip(high, proportion, 1)
    people, n = whole_strata.sum(axis=1), whole.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        effective = np.where(
            variance > 0, np.minimum(proportion * (1 - proportion) / variance, people), people
        )
    status, _ = nchs_reliability(proportion * people, people, effective, low, high, freedom)
    is_end = (n == 0) | (n == people)
    return proportion, low, high, method.tolist(), np.where(is_end, "", flag(status)).tolist()


def merged_strata(people: Floats) -> NDArray[np.int64] | None:
    """The number of the merged stratum that each age group belongs to, youngest first.

    Shapes   people: (sexes, strata); out: (strata,), or None where a sex has under LEAST_IN_STRATUM people in all.
    """
    strata = people.shape[1]
    block, last, gathered = np.zeros(strata, dtype=np.int64), 0, np.zeros(people.shape[0])
    for i in range(strata - 1, -1, -1):
        gathered += people[:, i]
        block[i] = last
        if np.all(gathered >= LEAST_IN_STRATUM):
            last, gathered = last + 1, np.zeros(people.shape[0])
    if last == 0:
        return None
    block = np.minimum(block, last - 1)  # what is left at the youngest end joins the next older
    return block.max() - block
