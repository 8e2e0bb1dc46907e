import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.proportion_interval import clopper_pearson_interval, wilson_interval

INTERVALS = pytest.mark.parametrize("interval", [wilson_interval, clopper_pearson_interval])


@INTERVALS
def test_a_cell_with_nobody_measured_has_no_interval(interval):
    low, high = interval([0, 3], [0, 10])
    assert np.isnan(low[0])
    assert np.isnan(high[0])
    assert 0 < low[1] < 0.3 < high[1] < 1


@INTERVALS
def test_nobody_and_everybody_end_exactly_at_0_and_1(interval):
    low, high = interval([0, 7], [7, 7])
    assert low[0] == 0.0
    assert high[1] == 1.0
    assert high[0] == pytest.approx(1 - low[1], abs=1e-12)


@INTERVALS
@pytest.mark.parametrize(("count", "people"), [(11, 10), (-1, 10), (float("nan"), 10)])
def test_an_impossible_count_names_its_cell(interval, count, people):
    with pytest.raises(ValueError, match=r"cell 1: .* of 10 measured"):
        interval([5, count], [10, people])


@INTERVALS
@given(st.integers(1, 5000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_interval_holds_the_proportion_and_mirrors_its_complement(interval, cell):
    count, people = cell
    low, high = (limit[0] for limit in interval([count], [people]))
    assert 0 <= low <= count / people <= high <= 1
    other_low, other_high = (limit[0] for limit in interval([people - count], [people]))
    assert (1 - other_high, 1 - other_low) == pytest.approx((low, high), abs=1e-11)


@given(st.integers(1, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_exact_interval_widens_with_the_confidence(cell):
    low_90, high_90 = clopper_pearson_interval([cell[0]], [cell[1]], 0.90)
    low_99, high_99 = clopper_pearson_interval([cell[0]], [cell[1]], 0.99)
    assert low_99[0] <= low_90[0]
    assert high_90[0] <= high_99[0]
