"""Wilson's score interval for one proportion."""

import numpy as np
import pytest
from scipy.stats import binomtest

from pipeline.statistics.proportion_interval import wilson_interval


# Newcombe RG (1998) Statistics in Medicine 17:857-872, the paper's four examples, method 3 (score).
# Examples 1 and 2 seen cited; 3 and 4 from memory. All limits agree with scipy 1.17.1:
#   binomtest(k, n).proportion_ci(method="wilson")
@pytest.mark.parametrize(
    ("count", "people", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0000, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_score_limits_agree_with_newcombe_1998(count, people, low, high):
    found = np.ravel(wilson_interval([count], [people]))
    assert found == pytest.approx([low, high], abs=5e-5)  # half a unit of the last printed place


# R 4.2.2, prop.test(x, n, correct = FALSE), computed once for the project's methods; statsmodels agrees to 8 digits.
@pytest.mark.parametrize(
    ("count", "people", "low", "high"),
    [(81, 263, 0.25528852, 0.36620958), (15, 148, 0.06238640, 0.16048724), (5, 50, 0.04347576, 0.21360231)],
)
def test_score_limits_agree_with_r(count, people, low, high):
    assert np.ravel(wilson_interval([count], [people])) == pytest.approx([low, high], abs=5e-9)


# scipy 1.17: an independent implementation, over counts at both ends and at sizes from 1 to 10 million.
@pytest.mark.parametrize("confidence", [0.80, 0.95, 0.99])
def test_score_limits_agree_with_scipy_at_every_size(confidence):
    cells = [(k, n) for n in (1, 2, 9, 30, 1000, 10_000_000) for k in {0, 1, n // 3, n - 1, n}]
    low, high = wilson_interval([k for k, _ in cells], [n for _, n in cells], confidence)
    for i, (k, n) in enumerate(cells):
        expected = binomtest(k, n).proportion_ci(confidence, method="wilson")
        assert (low[i], high[i]) == pytest.approx((expected.low, expected.high), rel=1e-9, abs=1e-15)
