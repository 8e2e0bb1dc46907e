"""The whole-number quantile of a binomial distribution, for many sizes and shares at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtr, bdtrik


def binomial_quantile(probability: ArrayLike, n: ArrayLike, p: ArrayLike) -> NDArray[np.int64]:
    """The smallest k with B(k; n, p) ≥ probability, B the distribution function.

    scipy.stats has the same, and costs most of a second to import.

    Shapes   all broadcast together.
    Units    n in whole people; probability and p from 0 to 1.
    Missing  n = 0 gives 0.
    Errors   none: shares are taken as given.
    Source   by definition; checked against scipy.stats.binom.ppf in tests/published/test_quantile_interval.py.
    """
    probability, n, p = np.broadcast_arrays(
        np.asarray(probability, dtype=float), np.asarray(n, dtype=np.int64), np.asarray(p, dtype=float)
    )
    is_inside = (p > 0) & (p < 1) & (n > 0)
    with np.errstate(invalid="ignore"):
        near = np.nan_to_num(
            bdtrik(probability, n.astype(float), p)
        )  # a real number: step to the exact whole one
    k = np.where(is_inside, np.clip(np.ceil(near), 0, n), np.where(p > 0, n, 0))
    is_high = is_inside & (k >= 1) & (bdtr(np.maximum(k - 1, 0), n, p) >= probability)
    k = np.where(is_high, k - 1, k)
    is_low = is_inside & (bdtr(k, n, p) < probability)
    return np.where(is_low, k + 1, k).astype(np.int64)
