"""Shares of rows at one site against the others: exact, and honest about what cannot be told."""

import numpy as np
import pytest
from scipy.stats import binomtest

from pipeline.statistics.entry_share import against_the_others


# scipy 1.17: binomtest(9, 100, 13 / 500, alternative="greater")
def test_p_is_the_exact_binomial_tail_at_the_share_of_the_others():
    found = against_the_others([9, 5, 8], [100, 200, 300])
    assert found.share == pytest.approx([0.09, 0.025, 8 / 300])
    assert found.ratio[0] == pytest.approx(0.09 / (13 / 500))
    for i, (count, of, others) in enumerate([(9, 100, 13 / 500), (5, 200, 17 / 400), (8, 300, 14 / 300)]):
        assert found.p[i] == pytest.approx(binomtest(count, of, others, alternative="greater").pvalue)


def test_none_at_a_site_is_no_sign():
    assert against_the_others([0, 4], [50, 100]).p[0] == 1


def test_what_happens_nowhere_else_has_no_ratio():
    found = against_the_others([3, 0], [50, 100])
    assert np.isnan(found.ratio[0])
    assert np.isnan(found.p[0])
    assert found.ratio[1] == 0


def test_a_site_of_which_nothing_is_counted_is_nan():
    found = against_the_others([0, 4, 5], [0, 100, 90])
    assert np.isnan(found.share[0])
    assert np.isnan(found.p[0])


def test_more_than_there_are_is_refused():
    with pytest.raises(ValueError, match="site 1: 6 of 5"):
        against_the_others([1, 6], [5, 5])
