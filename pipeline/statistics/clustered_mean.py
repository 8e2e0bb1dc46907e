"""A mean, weighted or not, of people who come in clusters, and its interval; a ratio of two such sums."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit


@dataclass(frozen=True)
class ClusteredMean:
    """value with its variance over sites, degrees of freedom, and the limits of its interval."""

    value: float
    variance: float
    freedom: int
    low: float
    high: float


def clustered_mean(
    weight: ArrayLike,
    total: ArrayLike,
    simple_variance: float = 0.0,
    people: float = 0,
    confidence: float = 0.95,
) -> ClusteredMean:
    """Σ total/Σ weight, its variance linearised over sites.

    v = K/(K − 1)·Σ_k (t_k − μ·w_k)²/(Σw)² over the K sites with any weight, df = K − 1, Student's t. It is never
    taken to be less than `simple_variance`, that of people who come one by one: clustering is no good news.
    A ratio of two sums is the same with the lower sum as weight.

    Shapes   weight, total: (sites,): of each site Σw and Σw·y of its people; for a plain mean n and Σy.
    Units    total in the unit of the mean times weight.
    Missing  nan for a sum of weights of 0. With one site the variance is the simple one, with people − 1 degrees of
             freedom; limits and variance are nan where that is 0 too.
    Source   Taylor linearisation with sites as primary sampling units: Korn & Graubard, Analysis of Health Surveys
             (1999) ch. 2; Cochran, Sampling Techniques (1977) ch. 6 for ratios. Checked against statsmodels in
             tests/published/test_clustered_mean.py.
    """
    weight, total = np.asarray(weight, dtype=float), np.asarray(total, dtype=float)
    with_any = weight != 0
    weight, total = weight[with_any], total[with_any]
    whole, sites = weight.sum(), weight.size
    if whole == 0:
        return ClusteredMean(np.nan, np.nan, 0, np.nan, np.nan)
    value = float(total.sum() / whole)
    if sites < 2:
        if simple_variance <= 0 or people < 2:
            return ClusteredMean(value, np.nan, 0, np.nan, np.nan)
        variance, freedom = simple_variance, int(people) - 1
    else:
        variance = sites / (sites - 1) * float(np.sum((total - value * weight) ** 2)) / whole**2
        variance, freedom = max(variance, simple_variance), sites - 1
    half = float(stdtrit(freedom, (1 + confidence) / 2)) * float(np.sqrt(variance))
    return ClusteredMean(value, variance, freedom, value - half, value + half)


def effective_people(weight: float, squared_weight: float) -> float:
    """(Σw)²/Σw²: people of equal weight that would tell as much. nan without weight.

    Source   Kish, Survey Sampling (1965).
    """
    return weight**2 / squared_weight if squared_weight > 0 else np.nan
