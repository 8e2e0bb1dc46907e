import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.value_count import (
    ValueCounts,
    order_statistic_ranks,
    quantile_interval,
    quantile_type_7,
)

PERCENTS = np.array([3, 5, 10, 25, 50, 75, 85, 90, 95, 97])
SAMPLES = st.lists(st.lists(st.integers(-400, 3000), min_size=1, max_size=60), min_size=1, max_size=6)


def counts_of(samples):
    """Value counts of several samples, one group each."""
    cells = [
        (g, value, n)
        for g, sample in enumerate(samples)
        for value, n in zip(*np.unique(sample, return_counts=True), strict=True)
    ]
    return ValueCounts.of(*np.array(cells).T)


@given(SAMPLES)
def test_quantiles_equal_numpy_on_the_expanded_values(samples):
    found = quantile_type_7(counts_of(samples), PERCENTS, 10)
    for g, sample in enumerate(samples):
        expected = np.quantile(np.array(sample) / 10, PERCENTS / 100, method="linear")
        assert found[g] == pytest.approx(expected, rel=1e-13, abs=1e-12)


@given(SAMPLES)
def test_quantiles_and_limits_never_fall_as_the_percentage_rises(samples):
    counts = counts_of(samples)
    everything = np.arange(101)
    for curve in (quantile_type_7(counts, everything), *quantile_interval(counts, everything)):
        for row in curve:
            assert np.all(np.diff(row[~np.isnan(row)]) >= 0)


@given(SAMPLES)
def test_limits_are_values_of_the_sample_around_the_quantile(samples):
    counts = counts_of(samples)
    value = quantile_type_7(counts, PERCENTS)
    low, high = quantile_interval(counts, PERCENTS)
    assert np.all((low <= value) | np.isnan(low))
    assert np.all((value <= high) | np.isnan(high))
    for g, sample in enumerate(samples):
        assert set(low[g][~np.isnan(low[g])]) | set(high[g][~np.isnan(high[g])]) <= set(sample)


@given(SAMPLES)
def test_a_group_does_not_depend_on_its_neighbours(samples):
    together = quantile_type_7(counts_of(samples), PERCENTS)
    for g, sample in enumerate(samples):
        assert np.array_equal(together[g], quantile_type_7(counts_of([sample]), PERCENTS)[0])


def test_one_person_is_every_quantile_and_has_no_limits():
    counts = counts_of([[724]])
    assert quantile_type_7(counts, [0, 3, 50, 97, 100], 10).tolist() == [[72.4] * 5]
    assert all(np.isnan(limit).all() for limit in quantile_interval(counts, PERCENTS, 10))


def test_ends_are_the_smallest_and_the_largest():
    assert quantile_type_7(counts_of([[5, 9, 2], [4, 4]]), [0, 100]).tolist() == [[2, 9], [4, 4]]


def test_the_limit_appears_with_the_person_who_makes_it_possible():
    # the lower limit of the median exists when B⁻¹(0.025; n, 0.5) is 1 or more: 6 people are the first for whom it is
    for people, exists in ((5, False), (6, True)):
        low, high = quantile_interval(counts_of([list(range(people))]), [50])
        assert np.isfinite(low).item() is exists
        assert np.isfinite(high).item() is exists


def test_repeated_cells_count_as_one():
    once, twice = ValueCounts.of([0, 0], [3, 8], [4, 2]), ValueCounts.of([0, 0, 0], [3, 3, 8], [1, 3, 2])
    assert np.array_equal(quantile_type_7(once, PERCENTS), quantile_type_7(twice, PERCENTS))


def test_ten_million_people_cost_one_cell():
    counts = ValueCounts.of([0, 0, 1], [1, 2, 7], [5_000_000, 5_000_000, 1])
    assert quantile_type_7(counts, [50]).tolist() == [[1.5], [7.0]]


def test_no_cells_give_no_groups():
    counts = ValueCounts.of([], [], [])
    assert quantile_type_7(counts, PERCENTS).shape == (0, 10)
    assert quantile_interval(counts, PERCENTS)[0].shape == (0, 10)


def test_unsorted_cells_are_refused():
    for group, value in (([0, 0], [2, 1]), ([1, 0], [1, 2])):
        with pytest.raises(ValueError, match="not sorted"):
            ValueCounts.of(group, value, [1, 1])


def test_a_cell_without_people_is_refused():
    with pytest.raises(ValueError, match="cell 1: a count of 0"):
        ValueCounts.of([0, 0], [1, 2], [1, 0])


@pytest.mark.parametrize("percent", [[-1], [101], [2.5]])
def test_a_percent_that_is_not_whole_or_not_from_0_to_100_is_refused(percent):
    with pytest.raises(ValueError, match="whole numbers from 0 to 100"):
        quantile_type_7(counts_of([[1, 2]]), percent)
    with pytest.raises(ValueError, match="whole numbers from 0 to 100"):
        order_statistic_ranks([10], percent)


def test_a_rank_outside_the_group_is_refused():
    with pytest.raises(ValueError, match="rank outside"):
        counts_of([[1, 2], [3]]).order_statistic([[2], [2]])


@given(SAMPLES, st.lists(st.integers(-500, 3100), min_size=1, max_size=5))
def test_people_at_or_below_a_value_are_those_counted_one_by_one(samples, values):
    found = counts_of(samples).at_or_below(np.tile(values, (len(samples), 1)))
    assert found.tolist() == [[sum(x <= v for x in sample) for v in values] for sample in samples]


def test_as_many_effective_people_as_people_change_no_rank():
    people = np.array([1, 30, 400, 12_345])
    plain = order_statistic_ranks(people, PERCENTS)
    effective = np.broadcast_to(people[:, None], (4, PERCENTS.size))
    assert np.array_equal(order_statistic_ranks(people, PERCENTS, effective=effective), plain)
    more = order_statistic_ranks(people, PERCENTS, effective=2.0 * effective)  # never more than there are
    assert np.array_equal(more, plain)


def test_ranks_of_fewer_effective_people_stand_for_the_same_shares_rounded_outward():
    lower, upper = order_statistic_ranks([999], [50], effective=[[99.7]])
    # 99 people: ranks 40 and 60 of 99 (R 4.2.2: qbinom(c(.025, .975), 99, .5) + 0:1), of 999 people 400 and 600
    assert (lower.item(), upper.item()) == (400, 600)
    assert order_statistic_ranks([999], [10], effective=[[20]])[0].item() == 0  # no lower limit of 20 people


def test_a_limit_with_too_few_people_from_it_outward_is_missing():
    counts = counts_of([list(range(1, 101))])
    assert [x.item() for x in quantile_interval(counts, [10], least_beyond=5)] == [5, 17]
    assert np.isnan(quantile_interval(counts, [10], least_beyond=6)[0]).all()
    assert [x.item() for x in quantile_interval(counts, [90], least_beyond=5)] == [84, 96]
    assert np.isnan(quantile_interval(counts, [90], least_beyond=6)[1]).all()
