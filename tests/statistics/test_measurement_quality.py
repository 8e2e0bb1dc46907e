"""Digits and adjusted differences: what holds whatever the figures."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.standardised_mean import adjusted_difference
from pipeline.statistics.terminal_digit import digit_preference


def test_even_digits_have_no_preference_and_one_digit_has_the_largest():
    found = digit_preference([[10] * 10, [0] * 9 + [50]])
    assert found.chi_square.tolist() == [0, 450]
    assert found.dissimilarity == pytest.approx([0, 0.9])
    assert found.p[0] == 1


def test_a_group_without_readings_is_missing():
    found = digit_preference([0] * 10)
    assert found.people[0] == 0
    assert np.isnan([found.chi_square[0], found.p[0], found.dissimilarity[0]]).all()


@pytest.mark.parametrize("counts", [[1] * 9, [1] * 9 + [-1]])
def test_counts_that_are_not_ten_of_0_or_more_are_refused(counts):
    with pytest.raises(ValueError, match="ten counts of 0 or more"):
        digit_preference(counts)


def moments(samples):
    """[group][stratum] lists of values → n, total, sum of squares."""
    return [
        np.array([[f(np.array(s, dtype=float)) for s in group] for group in samples])
        for f in (len, np.sum, lambda s: np.sum(s**2))
    ]


def test_the_expected_mean_is_that_of_the_others_at_the_groups_own_ages():
    found = adjusted_difference(*moments([[[10, 12], [20]], [[9, 11, 13], [30, 34]], [[15], [28]]]))
    others_young, others_old = (9 + 11 + 13 + 15) / 4, (30 + 34 + 28) / 3
    assert found.people[0] == 3
    assert found.difference[0] == pytest.approx((22 + 20 - 2 * others_young - others_old) / 3)


def test_a_different_mix_of_ages_alone_is_no_difference():
    young, old = [10, 12, 11, 9], [30, 32, 31, 29]
    found = adjusted_difference(*moments([[young * 3, old], [young, old * 5]]))
    assert found.difference == pytest.approx([0, 0], abs=1e-12)


def test_a_stratum_that_no_other_group_has_is_left_out():
    found = adjusted_difference(*moments([[[10, 12], [99, 98]], [[9, 11], []]]))
    assert found.people.tolist() == [2, 2]
    assert found.difference == pytest.approx([1, -1])
    alone = adjusted_difference(*moments([[[10, 12], []], [[], [9, 11]]]))
    assert np.isnan(alone.difference).all()


def test_the_error_of_a_level_counts_the_group_in_the_mean_of_all():
    """One stratum, by hand: with f the group's share of all people, σ²/n·((1 + f)² + f³/(1 − f))."""
    samples = [[[10, 12, 11]], [[9, 11, 13, 12, 8, 10]], [[14, 12, 13]]]
    found = adjusted_difference(*moments(samples))
    within = sum(np.sum((np.array(g[0]) - np.mean(g[0])) ** 2) for g in samples) / (12 - 3)
    f = 3 / 12
    assert found.level_error[0] ** 2 == pytest.approx(within / 3 * ((1 + f) ** 2 + f**3 / (1 - f)))


# The score is near standard normal when nothing differs: variance 1 within four standard errors over 3,000 draws.
def test_scores_have_mean_0_and_variance_1_when_nothing_differs():
    random = np.random.default_rng(4)
    scores = [
        adjusted_difference(
            *moments([[random.normal(50, 9, 12), random.normal(70, 9, 6)] for _ in range(5)])
        ).score[0]
        for _ in range(3000)
    ]
    assert np.mean(scores) == pytest.approx(0, abs=4 / np.sqrt(3000))
    assert np.var(scores) == pytest.approx(1, abs=4 * np.sqrt(2 / 3000) + 0.03)


@given(st.floats(-100, 100), st.floats(0.1, 10))
def test_a_change_of_origin_changes_nothing_and_of_unit_only_the_unit(origin, unit):
    samples = [[[10, 12, 17], [20, 25]], [[9, 11, 13], [30, 34, 31]]]
    plain = adjusted_difference(*moments(samples))
    moved = adjusted_difference(*moments([[[unit * x + origin for x in s] for s in g] for g in samples]))
    assert moved.difference == pytest.approx(unit * plain.difference, rel=1e-6, abs=1e-6)
    assert moved.score == pytest.approx(plain.score, rel=1e-5)
