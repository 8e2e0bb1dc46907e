"""Invented people → the tables of a small release, and a reader's view of them with chosen counts withheld."""

from __future__ import annotations

from itertools import product

import numpy as np
import polars as pl

from pipeline import measures

AGES = ((20, 29), (30, 39), (40, 49))
SEXES = ("female", "male")
FIGURES = ("n", "denominator", "proportion", "low", "high", "design_effect")
_PREVALENCE = {
    "banding": pl.String, "band": pl.String, "population": pl.String, "site": pl.String, "period": pl.String,
    "sex": pl.String, "age_from": pl.Int64, "age_to": pl.Int64, "n": pl.Int64, "denominator": pl.Int64,
    "proportion": pl.Float64, "low": pl.Float64, "high": pl.Float64, "design_effect": pl.Float64,
    "method": pl.String, "flag": pl.String,
}  # fmt: skip
_PERCENTILE = {
    "measure": pl.String, "unit": pl.String, "site": pl.String, "period": pl.String, "sex": pl.String,
    "age_from": pl.Int64, "age_to": pl.Int64, "percentile": pl.Int64, "value": pl.Float64, "low": pl.Float64,
    "high": pl.Float64, "n": pl.Int64, "method": pl.String, "flag": pl.String,
}  # fmt: skip
_QUALITY = {
    "site": pl.String, "period": pl.String, "item": pl.String, "severity": pl.String, "n": pl.Int64,
    "denominator": pl.Int64, "proportion": pl.Float64, "flag": pl.String,
}  # fmt: skip


def groups(people: np.ndarray, ages: tuple = AGES):
    """(site or None, sex, ages, the people of the group by band) of an array (sites, 2 sexes, ages, bands)."""
    used = ages[: people.shape[2]]
    spans = [*used, (used[0][0], used[-1][1])] if len(used) > 1 else [*used]
    for site, sex, span in product([None, *range(people.shape[0])], ("all", *SEXES), spans):
        of = people if site is None else people[[site]]
        of = of if sex == "all" else of[:, [SEXES.index(sex)]]
        inside = [i for i, (low, high) in enumerate(used) if span[0] <= low and high <= span[1]]
        yield (None if site is None else f"site-{site}"), sex, span, of[:, :, inside].sum(axis=(0, 1, 2))


def prevalence(
    people: np.ndarray, banding: str = "body_fat", period: str = "2025Q1", ages: tuple = AGES
) -> pl.DataFrame:
    """Rows of result.prevalence; a group with nobody has none."""
    names = [band.name for band in measures.BANDINGS[banding].bands]
    rows = [
        (banding, name, "site" if site else "all", site, period, sex, *span, int(n), int(of.sum()),
         n / of.sum(), 0.0, 1.0, None, "invented", None)
        for site, sex, span, of in groups(people, ages)
        if of.sum()
        for name, n in zip(names, of, strict=True)
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=_PREVALENCE, orient="row")


def percentile(
    people: np.ndarray, measure: str = "weight", period: str = "2025Q1", value: float = 60.0, ages: tuple = AGES
) -> pl.DataFrame:
    """Rows of result.percentile for the same people, the median alone; values are invented."""
    rows = [
        (measure, "kg", site, period, sex, *span, 50, value, None, None, int(of.sum()), "invented", None)
        for site, sex, span, of in groups(people, ages)
        if of.sum()
    ]
    return pl.DataFrame(rows, schema=_PERCENTILE, orient="row")


def quality(rows: list[tuple]) -> pl.DataFrame:
    """(site, period, item, severity, n, denominator) → rows of result.data_quality."""
    return pl.DataFrame([(*row, row[4] / row[5], None) for row in rows], schema=_QUALITY, orient="row")


def withheld(rows: pl.DataFrame, where: pl.Expr, figures: tuple[str, ...] = FIGURES) -> pl.DataFrame:
    """The rows with the figures of some of them taken away and their flag set."""
    where = where.fill_null(False)
    there = [name for name in (*figures, "value") if name in rows.columns]
    return rows.with_columns(pl.when(~where).then(name).alias(name) for name in there).with_columns(
        flag=pl.when(where).then(pl.lit("withheld")).otherwise("flag")
    )


def at(**keys) -> pl.Expr:
    """Rows with these keys; None is for all sites."""
    return pl.all_horizontal(pl.col(name).eq_missing(pl.lit(key)) for name, key in keys.items())
