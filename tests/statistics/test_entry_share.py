"""Shares of rows at one site against the others: exact, and honest about what cannot be told."""

import numpy as np
import pytest
from scipy.stats import fisher_exact, hypergeom

from pipeline.statistics.entry_share import against_the_others


# Fisher RA (1935) The Design of Experiments, ch. II: of eight cups four have milk first; she names four. From memory:
# all four right has probability 1/70, three or more 17/70.
@pytest.mark.parametrize(("right", "p"), [(4, 1 / 70), (3, 17 / 70), (0, 1)])
def test_p_is_that_of_the_lady_tasting_tea(right, p):
    assert against_the_others([right, 4 - right], [4, 4]).p[0] == pytest.approx(p)


# scipy 1.17: fisher_exact([[9, 91], [13, 487]], alternative="greater")
def test_p_agrees_with_scipy():
    found = against_the_others([9, 5, 8], [100, 200, 300])
    assert found.share == pytest.approx([0.09, 0.025, 8 / 300])
    assert found.ratio[0] == pytest.approx(0.09 / (13 / 500))
    for i, (count, of) in enumerate([(9, 100), (5, 200), (8, 300)]):
        table = [[count, of - count], [22 - count, 600 - of - 22 + count]]
        assert found.p[i] == pytest.approx(fisher_exact(table, alternative="greater").pvalue)


def test_p_is_the_tail_of_scipys_hypergeometric_distribution():
    """Small and large counts, up to millions of rows: a far tail keeps six digits."""
    for of in ([40, 60, 900], [50_000, 81_000, 12], [4_000_000, 3_000_000, 9_000_000]):
        count = np.array([n // 7 for n in of]) + np.array([9, 0, 2])
        found = against_the_others(count, of)
        expected = hypergeom.sf(count - 1, sum(of), count.sum(), of)
        assert found.p == pytest.approx(expected, rel=1e-6)


def test_none_at_a_site_is_no_sign():
    assert against_the_others([0, 4], [50, 100]).p[0] == 1


def test_what_happens_nowhere_else_has_no_ratio():
    found = against_the_others([3, 0], [50, 100])
    assert np.isnan(found.ratio[0])
    assert found.p[0] == pytest.approx(50 * 49 * 48 / (150 * 149 * 148))  # all three among its 50 of 150 rows
    assert found.ratio[1] == 0


def test_a_site_alone_has_nothing_to_be_compared_with():
    found = against_the_others([3], [50])
    assert found.share[0] == 0.06
    assert np.isnan([found.ratio[0], found.p[0]]).all()


def test_a_site_of_which_nothing_is_counted_is_nan():
    found = against_the_others([0, 4, 5], [0, 100, 90])
    assert np.isnan(found.share[0])
    assert np.isnan(found.p[0])


def test_more_than_there_are_is_refused():
    with pytest.raises(ValueError, match="site 1: 6 of 5"):
        against_the_others([1, 6], [5, 5])
