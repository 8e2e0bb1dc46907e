"""Whether z-scores have mean 0, variance 1, no skewness and normal kurtosis in every age group."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from pipeline.statistics.age_group import AgeGroups

Floats = NDArray[np.float64]

_SMALLEST = 20  # people in an age group: the kurtosis score is not near normal below
MOMENTS = ("mean", "variance", "skewness", "kurtosis")


@dataclass(frozen=True)
class QStatistics:
    """groups: one row an age group with n and the four scores; tests: one row a moment with q, freedom, p."""

    groups: pl.DataFrame
    tests: pl.DataFrame


def q_statistics(
    age: ArrayLike,
    z: ArrayLike,
    n: ArrayLike,
    age_groups: AgeGroups,
    freedom_used: tuple[float, float, float] = (0, 0, 0),
) -> QStatistics:
    """Sums over age groups of squared normal scores of the four moments of the z-scores.

    Score of the mean: √n·z̄. Of the variance: the cube root of s², which is near normal. Of skewness and kurtosis:
    the normalising transformations of D'Agostino and of Anscombe & Glynn. Each sum is compared with χ² on the
    number of groups less what the curves used: M, half of S + 1, and L.

    Shapes   age, z, n: (cells,); age_groups must not overlap; freedom_used: effective degrees of freedom of L, M, S.
    Units    scores in standard deviations; p from 0 to 1.
    Missing  an age group with fewer than 20 people is left out; a test on 0 or fewer degrees has p = nan.
    Source   Royston & Wright (2000) Stat Med 19:2943-2962, from memory; D'Agostino (1970) Biometrika 57:679-681;
             Anscombe & Glynn (1983) Biometrika 70:227-234. Checked in tests/published/test_normality_scores.py.
    """
    age, z, n = (np.asarray(a, dtype=float) for a in (age, z, n))
    rows = []
    for age_from, age_to in age_groups:
        here = (age >= age_from) & (age <= age_to)
        if n[here].sum() >= _SMALLEST:
            rows.append((age_from, age_to, round(n[here].sum()), *moment_scores(z[here], n[here])))
    groups = pl.DataFrame(
        rows,
        orient="row",
        schema={
            "age_from": pl.Int16,
            "age_to": pl.Int16,
            "n": pl.Int64,
            **dict.fromkeys(MOMENTS, pl.Float64),
        },
    )
    of_l, of_m, of_s = freedom_used
    q = np.array([(groups[name] ** 2).sum() for name in MOMENTS])
    freedom = groups.height - np.array([of_m, (of_s + 1) / 2 if of_s else 0, of_l, 0])
    p = np.where(freedom > 0, chdtrc(np.where(freedom > 0, freedom, 1), q), np.nan)
    return QStatistics(groups, pl.DataFrame({"moment": MOMENTS, "q": q, "freedom": freedom, "p": p}))


def moment_scores(z: Floats, n: Floats) -> tuple[float, float, float, float]:
    """Normal scores of mean, variance, skewness and kurtosis against 0, 1, 0 and 3, from weighted values.

    Shapes   z, n: (values,), how many people have each.
    """
    people = n.sum()
    mean = n @ z / people
    second, third, fourth = (n @ (z - mean) ** k / people for k in (2, 3, 4))
    spare = 2 / (9 * (people - 1))
    variance = second * people / (people - 1)
    return (
        float(np.sqrt(people) * mean),
        float((np.cbrt(variance) - (1 - spare)) / np.sqrt(spare)),
        skewness_score(third / second**1.5, people),
        kurtosis_score(fourth / second**2, people),
    )


def skewness_score(skewness: float, people: float) -> float:
    """D'Agostino's normalising transformation of √b₁ = m₃/m₂^1.5."""
    y = skewness * np.sqrt((people + 1) * (people + 3) / (6 * (people - 2)))
    beta = (
        3
        * (people**2 + 27 * people - 70)
        * (people + 1)
        * (people + 3)
        / ((people - 2) * (people + 5) * (people + 7) * (people + 9))
    )
    w = np.sqrt(np.sqrt(2 * (beta - 1)) - 1)
    scale = np.sqrt(2 / (w**2 - 1))
    return float(np.arcsinh(y / scale) / np.sqrt(np.log(w)))


def kurtosis_score(kurtosis: float, people: float) -> float:
    """Anscombe & Glynn's normalising transformation of b₂ = m₄/m₂²."""
    expected = 3 * (people - 1) / (people + 1)
    variance = 24 * people * (people - 2) * (people - 3) / ((people + 1) ** 2 * (people + 3) * (people + 5))
    x = (kurtosis - expected) / np.sqrt(variance)
    skew = (
        6
        * (people**2 - 5 * people + 2)
        / ((people + 7) * (people + 9))
        * np.sqrt(6 * (people + 3) * (people + 5) / (people * (people - 2) * (people - 3)))
    )
    a = 6 + 8 / skew * (2 / skew + np.sqrt(1 + 4 / skew**2))
    ratio = (1 - 2 / a) / (1 + x * np.sqrt(2 / (a - 4)))
    return float((1 - 2 / (9 * a) - np.cbrt(ratio)) / np.sqrt(2 / (9 * a)))
