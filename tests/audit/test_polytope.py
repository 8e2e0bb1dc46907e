"""Intervals by linear programming against every table there is, counted one by one; and tables found by pushing."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.sparse import csr_array, eye_array

from pipeline.audit.polytope import Polytope

INNER = arrays(np.int64, (3, 3), elements=st.integers(0, 4))
OPEN = st.sets(st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=1, max_size=5)


def polytope(truth: np.ndarray, rows: np.ndarray, low=None, high=None) -> Polytope:
    """Atoms under rows that hold exactly, or between low and high; every atom is asked about."""
    truth = truth.astype(float)
    exact = rows @ truth
    return Polytope(
        np.arange(truth.size), csr_array(rows.astype(float)), exact if low is None else np.asarray(low, float),
        exact if high is None else np.asarray(high, float), truth, csr_array(eye_array(truth.size)),
        np.arange(truth.size), np.zeros(truth.size),
    )  # fmt: skip


def shown_but(places: set[tuple[int, int]]) -> np.ndarray:
    """Rows and columns of a 3 by 3 table, and each single cell but these."""
    number = np.arange(9).reshape(3, 3)
    sums = [*number, *number.T, *([number[i, j]] for i in range(3) for j in range(3) if (i, j) not in places)]
    return np.array([[k in np.atleast_1d(of) for k in range(9)] for of in sums], dtype=int)


def every_table(inner: np.ndarray, places: list[tuple[int, int]]) -> np.ndarray:
    tops = [min(inner[i].sum(), inner[:, j].sum()) for i, j in places]
    found = []
    for values in product(*(range(top + 1) for top in tops)):
        table = inner.copy()
        for where, value in zip(places, values, strict=True):
            table[where] = value
        if (table.sum(0) == inner.sum(0)).all() and (table.sum(1) == inner.sum(1)).all():
            found.append(values)
    return np.array(found)


@settings(max_examples=40, deadline=None)
@given(INNER, OPEN)
def test_an_interval_is_the_range_over_all_tables_that_fit(inner, places):
    """In two-way tables the least and greatest value are whole numbers, so real and whole intervals both agree."""
    places = sorted(places)
    tables = every_table(inner, places)
    whole = polytope(inner.ravel(), shown_but(set(places)))
    for k, (i, j) in enumerate(places):
        expected = (tables[:, k].min(), tables[:, k].max())
        assert whole.interval(3 * i + j) == pytest.approx(expected, abs=1e-6)
        assert whole.interval(3 * i + j, is_whole=True) == pytest.approx(expected, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(INNER, OPEN)
def test_leaving_out_what_is_settled_and_taking_parts_apart_changes_no_interval(inner, places):
    whole = polytope(inner.ravel(), shown_but(places))
    left = {}
    for part in whole.without_settled().parts():
        left |= {int(number): part.interval(at) for at, number in enumerate(part.number)}
    for number in range(9):
        expected = whole.interval(number)
        assert left.get(number, (inner.ravel()[number],) * 2) == pytest.approx(expected, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(INNER, OPEN, st.lists(st.booleans(), min_size=9, max_size=9))
def test_a_pushed_table_fits_everything_and_goes_no_further_than_asked(inner, places, up):
    whole = polytope(inner.ravel(), shown_but(places))
    wanted = np.arange(9)
    table = whole.pushed(wanted, np.array(up), np.full(9, 2.0), 50.0)
    assert (table >= -1e-6).all()
    assert whole.rows @ table == pytest.approx(whole.low, abs=1e-6)


def test_a_sum_of_which_a_row_leaves_a_side_open_has_no_greatest_value():
    free = polytope(np.array([4]), np.ones((1, 1), dtype=int), low=[1], high=[np.inf])
    assert free.interval(0) == (1, np.inf)


def test_in_three_directions_whole_numbers_can_say_more_than_real_ones():
    """Twice a count, plus another, is odd: as a real number the other may be 0, as a whole one not."""
    found = polytope(np.array([1, 1]), np.array([[2, 1]]))
    assert found.interval(1) == pytest.approx((0, 3))
    assert found.interval(1, is_whole=True) == pytest.approx((1, 3))


def test_rows_that_nothing_fits_are_refused():
    broken = polytope(np.array([1, 1]), np.array([[1, 1], [1, 1]]), low=[5, 2], high=[5, 2])
    with pytest.raises(ValueError, match="no table fits what is published"):
        broken.interval(0)
