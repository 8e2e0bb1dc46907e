"""Detrended normal quantile plots of z-scores, an age group each: where a fitted age curve is off, and how."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from pipeline.statistics.age_group import AgeGroups

SCORES = np.arange(-10, 11) / 4  # −2.5 to 2.5 standard deviations: 21 points an age group

_SCHEMA = {
    "age_from": pl.Int16,
    "age_to": pl.Int16,
    "n": pl.Int64,
    "score": pl.Float64,
    "deviation": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
}


def worm_plot(
    age: ArrayLike, z: ArrayLike, n: ArrayLike, age_groups: AgeGroups, confidence: float = 0.95
) -> pl.DataFrame:
    """Observed less theoretical quantile of the z-scores, with the pointwise band of a good fit.

    Shapes   age, z, n: (cells,); out: one row an age group and score with columns age_from, age_to, n, score,
             deviation, low, high.
    Units    score, deviation, low and high in standard deviations.
    Missing  an age group without people has no rows; a score outside the group's own ranks is left out.
    Source   van Buuren & Fredriks (2001) Stat Med 20:1259-1277, from memory: deviation = observed quantile − score,
             band ±z·√(p(1 − p)/n)/φ(score). Checked in tests/statistics/test_worm_plot.py.
    """
    age, z, n = (np.asarray(a, dtype=float) for a in (age, z, n))
    rows: list[tuple] = []
    for age_from, age_to in age_groups:
        here = (age >= age_from) & (age <= age_to) & (n > 0)
        people = n[here].sum()
        if people > 0:
            order = np.argsort(z[here], kind="stable")
            count = n[here][order]
            theoretical = ndtri(
                (np.cumsum(count) - count / 2) / people
            )  # a cell stands at the middle of its ranks
            score = SCORES[(theoretical[0] <= SCORES) & (theoretical[-1] >= SCORES)]
            deviation = np.interp(score, theoretical, z[here][order]) - score
            density = np.exp(-(score**2) / 2) / np.sqrt(2 * np.pi)
            half = ndtri((1 + confidence) / 2) * np.sqrt(ndtr(score) * ndtr(-score) / people) / density
            rows += [
                (age_from, age_to, round(people), *point)
                for point in zip(score, deviation, -half, half, strict=True)
            ]
    return pl.DataFrame(rows, schema=_SCHEMA, orient="row")
