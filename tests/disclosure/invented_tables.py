"""Invented people → the tables of a small release, summed here once more and by other means than the pipeline's."""

from __future__ import annotations

from itertools import product

import numpy as np
import polars as pl

from pipeline import measures

AGES = ((20, 29), (30, 39), (40, 49))
TOTAL = (20, 49)


def prevalence_of(people: np.ndarray, banding: str = "body_fat", period: str = "2025Q1") -> pl.DataFrame:
    """people: (sites, 2 sexes, ages, bands) of counts → rows of result.prevalence, all sums added.

    Groups with nobody in them have no rows, as in the pipeline.
    """
    bands = [band.name for band in measures.BANDINGS[banding].bands]
    assert people.shape[3] == len(bands)
    rows = []
    for site, sex, age in _groups(people):
        counts = people[_chosen(site, people.shape[0])][:, _sexes(sex)][:, :, _ages(age, people)].sum(
            axis=(0, 1, 2)
        )
        for band, n in zip(bands, counts, strict=True):
            if counts.sum():
                rows.append(
                    (
                        banding,
                        band,
                        "all" if site is None else "site",
                        site,
                        period,
                        sex,
                        *age,
                        int(n),
                        int(counts.sum()),
                        n / counts.sum(),
                        0.0,
                        1.0,
                        "invented",
                        None,
                    )
                )
    columns = [
        "banding",
        "band",
        "population",
        "site",
        "period",
        "sex",
        "age_from",
        "age_to",
        "n",
        "denominator",
        "proportion",
        "low",
        "high",
        "method",
        "flag",
    ]
    return pl.DataFrame(
        rows, schema=columns, orient="row", schema_overrides={"site": pl.String, "flag": pl.String}
    )


def percentile_of(
    people: np.ndarray,
    measure: str = "weight",
    period: str = "2025Q1",
    percentiles: tuple[int, ...] = measures.PERCENTILES,
) -> pl.DataFrame:
    """The same people with a measure each → rows of result.percentile; the values are invented."""
    rows = []
    for site, sex, age in _groups(people):
        n = int(people[_chosen(site, people.shape[0])][:, _sexes(sex)][:, :, _ages(age, people)].sum())
        rows += [
            (measure, "kg", site, period, sex, *age, p, 60.0 + p, 59.0 + p, 61.0 + p, n, "invented", None)
            for p in percentiles
            if n
        ]
    columns = [
        "measure",
        "unit",
        "site",
        "period",
        "sex",
        "age_from",
        "age_to",
        "percentile",
        "value",
        "low",
        "high",
        "n",
        "method",
        "flag",
    ]
    return pl.DataFrame(
        rows, schema=columns, orient="row", schema_overrides={"site": pl.String, "flag": pl.String}
    )


def data_quality_of(rows: list[tuple]) -> pl.DataFrame:
    """(site or None, period or None, item, severity, n, denominator) → rows of result.data_quality."""
    return pl.DataFrame(
        [(*row, row[4] / row[5] if row[5] else None, None) for row in rows],
        orient="row",
        schema={
            "site": pl.String,
            "period": pl.String,
            "item": pl.String,
            "severity": pl.String,
            "n": pl.Int64,
            "denominator": pl.Int64,
            "proportion": pl.Float64,
            "flag": pl.String,
        },
    )


def _groups(people: np.ndarray):
    sites = [None, *(f"site-{i}" for i in range(people.shape[0]))]
    ages = [
        *AGES[: people.shape[2]],
        *([(TOTAL[0], AGES[people.shape[2] - 1][1])] if people.shape[2] > 1 else []),
    ]
    return product(sites, ("all", "female", "male"), ages)


def _chosen(site: str | None, sites: int) -> list[int]:
    return list(range(sites)) if site is None else [int(site.removeprefix("site-"))]


def _sexes(sex: str) -> list[int]:
    return {"all": [0, 1], "female": [0], "male": [1]}[sex]


def _ages(age: tuple[int, int], people: np.ndarray) -> list[int]:
    return [i for i, (low, high) in enumerate(AGES[: people.shape[2]]) if age[0] <= low and high <= age[1]]
