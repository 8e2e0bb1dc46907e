"""How far a change may lie from what is usual: medians of counts against medians of the values themselves."""

import statistics

import numpy as np
import pytest
from scipy.stats import median_abs_deviation

from pipeline.statistics.change_spread import change_bounds


def bounds(*values, classes=1, kind=None):
    values = np.array(values, dtype=np.int64)
    kind = np.zeros(len(values), dtype=np.int64) if kind is None else kind
    low, high = change_bounds(kind, values, np.ones(len(values), dtype=np.int64), classes)
    return list(zip(low.tolist(), high.tolist(), strict=True))


@pytest.mark.parametrize("n", [20, 21, 50, 51])
def test_bounds_are_three_deviations_on_either_side_of_the_median(n):
    """The median by Python's statistics, the deviation by SciPy's median_abs_deviation(scale='normal'), which divides
    by 0.67449 (Φ⁻¹(3/4)) where the project multiplies by 1.4826."""
    random = np.random.default_rng(n)
    values = np.rint(random.normal(-400, 900, n)).astype(int).tolist()
    middle, deviation = statistics.median(values), median_abs_deviation(values, scale="normal")
    ((low, high),) = bounds(*values)
    assert [low, high] == pytest.approx([middle - 3 * deviation, middle + 3 * deviation], abs=0.6)


def test_counts_say_what_the_changes_one_by_one_say():
    random = np.random.default_rng(3)
    kind, change, n = (
        random.integers(0, 7, 400),
        100 * random.integers(-30, 30, 400),
        random.integers(1, 9, 400),
    )
    counted = change_bounds(kind, change, n, 8)
    each = change_bounds(
        *(np.repeat(column, n) for column in (kind, change)), np.ones(n.sum(), dtype=np.int64), 8
    )
    assert [ends.tolist() for ends in counted] == [ends.tolist() for ends in each]
    assert (counted[0][7], counted[1][7]) == (0, 0)  # a class without a change


@pytest.mark.parametrize(("off", "reach"), [(67, 300), (68, 302)])
def test_a_class_reaches_at_least_three_tenths(off, reach):
    assert bounds(*[-off] * 10, *[off] * 10) == [(-reach, reach)]


@pytest.mark.parametrize(("people", "reach"), [(19, 4448), (20, 300)])
def test_a_class_of_few_reaches_as_far_as_all_together(people, reach):
    """Nineteen alike changes beside a hundred that vary by a kilogram; all but the middle are 1000 off: 3 × 1.4826."""
    kind = np.repeat([0, 1], [people, 101])
    found = bounds(*[0] * people, *[-1000] * 50, 0, *[1000] * 50, classes=2, kind=kind)
    assert found == [(-reach, reach), (-4448, 4448)]


def test_nobody_has_no_bounds():
    assert bounds(classes=2) == [(0, 0), (0, 0)]
