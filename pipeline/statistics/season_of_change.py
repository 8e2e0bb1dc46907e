"""Mean change had every follow-up fallen on the entry's day of the year."""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy.special import stdtrit

from pipeline.statistics.clustered_mean import ClusteredMean

_LEAST_PEOPLE = 30


def same_season(products: pl.DataFrame) -> dict[int, ClusteredMean]:
    """Regression of change on a mean for each follow-up and one yearly wave for all of them.

    y = μ_months + a·Δcos + b·Δsin, Δ: at the follow-up less at entry. Variance: sandwich over sites, K/(K − 1).

    Shapes   products: of sql/57_outcome_season.sql for one group of people, a row a follow-up and site:
             months, site, n and the sums c, s, y, cc, ss, cs, cy, sy; out: months → mean change.
    Missing  no entry for anything when the wave cannot be told: fewer than 30 people or two sites in all, or changes
             that all span the same seasons.
    Source   cosinor regression: Nelson et al. (1979) Chronobiologia 6:305-323 (from memory); sandwich: Liang & Zeger
             (1986) Biometrika 73:13-22. Checked against statsmodels in tests/published/test_season_of_change.py.
    """
    months = products["months"].unique().sort().to_list()
    sites = products["site"].unique().sort().to_list()
    k, size = len(sites), len(months) + 2
    if products["n"].sum() < _LEAST_PEOPLE or k < 2:
        return {}
    gram, score = np.zeros((k, size, size)), np.zeros((k, size))
    for row in products.iter_rows(named=True):
        i, m = sites.index(row["site"]), months.index(row["months"])
        gram[i, m, m] += row["n"]
        gram[i, m, -2:] += row["c"], row["s"]
        gram[i, -2:, m] += row["c"], row["s"]
        gram[i, -2:, -2:] += [[row["cc"], row["cs"]], [row["cs"], row["ss"]]]
        score[i, m] += row["y"]
        score[i, -2:] += row["cy"], row["sy"]
    whole = gram.sum(axis=0)
    scale = np.sqrt(np.diag(whole))
    if (scale == 0).any() or np.linalg.cond(whole / np.outer(scale, scale)) > 1e6:
        return {}
    inverse = np.linalg.inv(whole)
    fitted = inverse @ score.sum(axis=0)
    left = score - gram @ fitted
    variance = k / (k - 1) * inverse @ (left.T @ left) @ inverse
    t = float(stdtrit(k - 1, 0.975))
    return {
        month: ClusteredMean(
            float(fitted[m]),
            float(variance[m, m]),
            k - 1,
            float(fitted[m] - t * np.sqrt(variance[m, m])),
            float(fitted[m] + t * np.sqrt(variance[m, m])),
        )
        for m, month in enumerate(months)
    }
