"""Sites beside each other: what holds whatever the figures, and by hand where it can be."""

import numpy as np
import pytest
from scipy.stats import binom, norm

from pipeline.statistics.site_comparison import compare_means, compare_proportions


def alike(sites=12, strata=4, share=0.25, seed=1):
    random = np.random.default_rng(seed)
    people = random.integers(20, 120, (sites, strata))
    return random.binomial(people, share), people


def test_ratio_and_value_are_observed_over_expected_at_the_proportions_of_all():
    count, people = np.array([[10, 30], [5, 15]]), np.array([[100, 100], [100, 50]])
    found = compare_proportions(count, people)
    share = np.array([15 / 200, 45 / 150])
    assert found.expected == pytest.approx(people @ share)
    assert found.ratio == pytest.approx(count.sum(axis=1) / (people @ share))
    assert found.reference == pytest.approx(60 / 350)
    assert found.value == pytest.approx(found.ratio * 60 / 350)


def test_a_site_whose_people_differ_only_in_age_stands_at_the_value_of_all():
    people = np.array([[400, 100], [100, 400], [250, 250], [300, 200]])
    found = compare_proportions(people * np.array([0.1, 0.4]), people)
    assert found.value == pytest.approx(np.full(4, found.reference))
    assert found.score == pytest.approx(np.zeros(4), abs=0.1)  # mid-p of a skewed binomial


def test_scores_are_the_normal_scores_of_the_binomial_mid_p_and_funnels_hold_them():
    count, people = alike()
    found = compare_proportions(count, people)
    assert not found.is_widened
    n, expected = people.sum(axis=1), found.expected
    observed = count.sum(axis=1)
    middle = (binom.cdf(observed - 1, n, expected / n) + binom.cdf(observed, n, expected / n)) / 2
    assert found.score == pytest.approx(norm.ppf(middle))
    inside = (found.funnel[:, 1] < found.value) & (found.value < found.funnel[:, 2])
    assert (inside == (np.abs(found.score) < 1.96)).mean() > 0.9  # limits are interpolated, scores are not
    assert np.all(np.diff(found.funnel, axis=1) > 0)


def test_sites_that_differ_widen_the_funnel_and_are_not_all_named():
    random = np.random.default_rng(5)
    people = np.full((30, 2), 1000)
    count = random.binomial(people, np.clip(random.normal(0.3, 0.05, (30, 1)), 0.05, 0.9))
    found = compare_proportions(count, people)
    assert found.is_widened
    assert found.dispersion > 5
    assert np.sum(found.q_value < 0.05) <= 1
    width = (found.funnel[:, 2] - found.funnel[:, 1]) / (2 * 1.96)
    assert width == pytest.approx(np.full(30, 0.05), rel=0.5)


def test_three_sites_that_differ_on_one_side_are_found_among_24():
    count, people = alike(24, share=0.2, seed=2)
    count[:3] = people[:3] * 0.5
    found = compare_proportions(count, people)
    assert np.all(found.q_value[:3] < 0.05)
    assert np.all(found.score[:3] > 3)


def test_relabelling_sites_changes_nothing_but_the_order():
    count, people = alike(24, seed=8)
    order = np.random.default_rng(0).permutation(24)
    one, other = compare_proportions(count, people), compare_proportions(count[order], people[order])
    for name in ("value", "low", "high", "score", "q_value", "shrunken", "funnel"):
        assert getattr(one, name)[order] == pytest.approx(getattr(other, name)), name


def test_a_band_that_nobody_or_everybody_is_in_has_values_and_no_scores():
    people = np.full((5, 2), 40)
    nobody, everybody = compare_proportions(people * 0, people), compare_proportions(people, people)
    assert nobody.value == pytest.approx(np.zeros(5))
    assert everybody.value == pytest.approx(np.ones(5))
    for found in (nobody, everybody):
        assert np.isnan(found.score).all()
        assert np.isnan(found.q_value).all()
        assert np.isnan(found.funnel).all()
        assert found.heterogeneity is None


def test_a_site_without_people_is_nan_and_changes_no_other():
    count, people = alike(6)
    with_empty = compare_proportions(np.vstack([count, 0 * count[:1]]), np.vstack([people, 0 * people[:1]]))
    without = compare_proportions(count, people)
    assert np.isnan(with_empty.value[-1])
    assert with_empty.value[:-1] == pytest.approx(without.value)
    assert with_empty.q_value[:-1] == pytest.approx(without.q_value)


def test_limits_stay_within_0_and_1():
    people = np.array([[4], [200], [300], [500], [5]])
    found = compare_proportions(np.array([[4], [150], [200], [350], [0]]), people)
    for part in (found.value, found.low, found.high, found.funnel, found.shrunken_low, found.shrunken_high):
        assert np.nanmin(part) >= 0
        assert np.nanmax(part) <= 1


def test_fewer_than_four_sites_have_no_shrunken_values():
    count, people = alike(3)
    assert np.isnan(compare_proportions(count, people).shrunken).all()
    assert np.isfinite(compare_proportions(*alike(4)).shrunken).all()


def test_a_count_over_its_people_is_refused():
    with pytest.raises(ValueError, match="site 0, stratum 1: 5 in the band of 4"):
        compare_proportions([[1, 5]], [[4, 4]])


def invented_means(shift=0.0, sites=10, seed=3):
    random = np.random.default_rng(seed)
    n = np.full((sites, 3), 80)
    values = random.normal([60, 70, 80], 10, (80, sites, 3)) + shift * (np.arange(sites) == 0)[:, None]
    return n, values.sum(axis=0), (values**2).sum(axis=0)


def test_a_mean_that_is_off_is_seen_and_its_interval_holds_the_truth():
    found = compare_means(*invented_means(shift=8.0))
    assert found.q_value[0] < 0.05
    assert found.score[0] > 4
    assert np.sum(found.q_value < 0.05) == 1
    assert found.low[0] < 78 < found.high[0]  # the others' mean is 70
    assert found.heterogeneity.p < 0.001
    assert np.isnan(found.ratio).all()
    assert found.expected[0] == pytest.approx(70.8, abs=1.5)


def test_means_carry_the_unit():
    n, total, squares = invented_means()
    kilograms, grams = compare_means(n, total, squares), compare_means(n, total * 1000, squares * 1e6)
    assert grams.value == pytest.approx(1000 * kilograms.value)
    assert grams.funnel == pytest.approx(1000 * kilograms.funnel)
    assert grams.score == pytest.approx(kilograms.score)
