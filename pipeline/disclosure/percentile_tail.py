"""Which percentiles, and which of their limits, would show the value of one of the outermost people.

A percentile says that so many people of the group lie at or below its value, and so many at or above. Both
are counts of people told by a value, like the count in a band, so both must reach minimum_count. Type 7 reads the
percentile p of n people between the order statistics floor(h) and floor(h) + 1, h = 1 + (n - 1) p / 100:

    floor(h) >= minimum_count  and  n - floor(h) >= minimum_count

With a minimum of 10 the median needs 20 people (and minimum_people_for_percentile), the 10th and 90th percentile 92,
the 5th and 95th 182, the 3rd and 97th 302. It also keeps percentiles from undoing what is withheld of bands: a
published percentile never tells of fewer than minimum_count people beyond an edge. Each limit of the interval is
an order statistic too, and keeps the same distance from the ends or is left empty.
"""

from __future__ import annotations

import numpy as np
from scipy.special import bdtr

CONFIDENCE = 0.95


def percentile_is_open(n: np.ndarray, percentile: np.ndarray, minimum_count: int) -> np.ndarray:
    """Whether minimum_count people lie on either side of the percentile.

    Shapes   n, percentile, out: (rows,).   Units  people; percent.
    """
    # whole numbers throughout: floor(1 + (n - 1) p / 100)
    lower = 1 + ((n - 1) * percentile) // 100
    return (lower >= minimum_count) & (n - lower >= minimum_count)


def limits_are_open(
    n: np.ndarray, percentile: np.ndarray, minimum_count: int
) -> tuple[np.ndarray, np.ndarray]:
    """Whether the lower and the upper limit of the percentile's interval lie as far from the ends.

    Shapes   n, percentile and both results: (rows,).
    Source   the limits are the order statistics l = Q(a/2) and u = Q(1 - a/2) + 1 of Binomial(n, p), Q its
             quantile function and a = 1 - CONFIDENCE (Hahn & Meeker 1991, chapter 5). l >= m is the same as
             P(B <= m - 1) < a/2, and n - u + 1 >= m the same as P(B <= n - m) >= 1 - a/2. The distribution
             function is scipy.special's: scipy.stats costs most of a second to import.
    """
    tail = (1 - CONFIDENCE) / 2
    # the same number of people comes again and again, and the distribution function is dear
    asked, place = np.unique(n.astype(np.int64) * 100 + percentile, return_inverse=True)
    n, share = asked // 100, asked % 100 / 100
    is_enough = n >= minimum_count  # of fewer people the distribution function is not asked
    low = is_enough & (bdtr(np.minimum(minimum_count - 1, n), n, share) < tail)
    high = is_enough & (bdtr(np.maximum(n - minimum_count, 0), n, share) >= 1 - tail)
    return low[place], high[place]
