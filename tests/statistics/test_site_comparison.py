"""Funnel limits, overdispersion, heterogeneity, shrinkage, false discoveries: what holds whatever the figures."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.empirical_bayes import shrink
from pipeline.statistics.false_discovery import benjamini_hochberg
from pipeline.statistics.funnel import exact_limits
from pipeline.statistics.heterogeneity import dersimonian_laird
from pipeline.statistics.overdispersion import overdispersion

VALUES = st.lists(st.floats(-5, 5), min_size=5, max_size=30)


@given(st.floats(0.01, 0.99))
def test_limits_narrow_with_size_and_hold_the_target(target):
    people = np.array([10, 100, 1000, 100_000])
    limits = exact_limits(target, people)
    assert np.all(np.diff(limits, axis=1) >= -1e-12)  # 99.8 % lies outside 95 %
    assert np.all((limits[-1, :2] < target) & (limits[-1, 2:] > target))
    assert np.all(np.diff(limits[1:, 3] - limits[1:, 0]) < 0)
    assert limits.min() >= 0
    assert limits.max() <= 1 + 1e-12


def test_a_site_without_people_has_no_limits():
    assert np.isnan(exact_limits(0.2, [0])).all()


@pytest.mark.parametrize("target", [0, 1, -0.1, np.nan])
def test_a_target_outside_0_to_1_is_refused(target):
    with pytest.raises(ValueError, match="a proportion between 0 and 1 is expected"):
        exact_limits(target, [10])


def test_one_wild_site_does_not_set_the_scale():
    scores = np.random.default_rng(0).standard_normal(40)
    calm, wild = (overdispersion(np.append(scores, last), 0, np.ones(41)) for last in (1.0, 60.0))
    assert wild.factor < 1.2 * calm.factor
    assert wild.p > 0.05


def test_real_differences_are_found():
    random = np.random.default_rng(1)
    error = random.uniform(0.01, 0.03, 400)
    found = overdispersion(0.3 + random.normal(0, 0.03, 400) + random.normal(0, 1, 400) * error, 0.3, error)
    assert found.p < 1e-6


def test_sites_without_a_value_are_left_out_and_two_sites_tell_nothing():
    whole = overdispersion([0.1, 0.2, 0.4, 0.3], 0.25, [0.05] * 4)
    assert overdispersion([0.1, np.nan, 0.2, 0.4, 0.3], 0.25, [0.05] * 5).factor == whole.factor
    assert np.isnan(overdispersion([0.1, 0.2], 0.25, [0.05] * 2).factor)


def test_sites_that_agree_have_no_heterogeneity():
    found = dersimonian_laird([1, 1, 1], [0.1, 0.2, 0.3])
    assert (found.between_variance, found.q, found.i_squared, found.mean) == (0, 0, 0, 1)
    assert found.p == 1


def test_a_site_without_a_value_is_left_out_of_heterogeneity_and_shrinkage():
    y, v = np.array([1.0, 2, 4, 3, 7]), np.array([0.5, 0.4, 0.6, 0.5, 0.4])
    assert dersimonian_laird(np.append(y, np.nan), np.append(v, 1)) == dersimonian_laird(y, v)
    found = shrink(np.append(y, np.nan), np.append(v, 1))
    assert np.isnan(found.value[-1])
    assert found.value[:-1] == pytest.approx(shrink(y, v).value)


@given(VALUES)
def test_shrunken_values_lie_between_the_site_and_the_mean(values):
    y = np.array(values)
    v = np.linspace(0.1, 2, y.size)
    found = shrink(y, v)
    low, high = np.minimum(y, found.mean) - 1e-9, np.maximum(y, found.mean) + 1e-9
    assert np.all((low <= found.value) & (found.value <= high))
    assert np.all((found.low <= found.value) & (found.value <= found.high))
    assert np.all(np.diff(found.shrinkage) >= -1e-12)  # the less certain, the further drawn in


@given(VALUES, st.randoms())
def test_relabelling_sites_changes_nothing(values, random):
    order = list(range(len(values)))
    random.shuffle(order)
    y, v = np.array(values), np.linspace(0.1, 2, len(values))
    assert shrink(y[order], v[order]).value == pytest.approx(shrink(y, v).value[order], rel=1e-6, abs=1e-6)
    p = 1 / (1 + np.abs(y))
    assert benjamini_hochberg(p[order]) == pytest.approx(benjamini_hochberg(p)[order], rel=1e-12)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=50))
def test_adjusted_p_is_never_below_p_and_keeps_its_order(p):
    p = np.array(p)
    adjusted = benjamini_hochberg(p)
    assert np.all(adjusted >= p)
    assert np.all(adjusted <= 1)
    assert np.all(np.diff(adjusted[np.argsort(p, kind="stable")]) >= 0)


def test_a_missing_p_stays_missing_and_does_not_count():
    assert benjamini_hochberg([0.01, np.nan, 0.02]) == pytest.approx([0.02, np.nan, 0.02], nan_ok=True)


def test_figures_that_cannot_be_are_refused():
    with pytest.raises(ValueError, match="two sites or more"):
        dersimonian_laird([1.0], [0.1])
    with pytest.raises(ValueError, match="variances above 0"):
        dersimonian_laird([1.0, 2.0], [0.1, 0.0])
    with pytest.raises(ValueError, match="four sites or more"):
        shrink([1.0, 2, 3], [1, 1, 1])
    with pytest.raises(ValueError, match=r"p of 1\.2"):
        benjamini_hochberg([0.5, 1.2])
