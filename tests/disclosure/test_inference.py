"""Intervals by linear programming against every table there is, counted one by one."""

from __future__ import annotations

from itertools import product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipeline.disclosure.inference import unknown_cells

SIZE = 3


def margins() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows and columns of a 4 by 4 table whose last row and column are sums."""
    number = np.arange(16).reshape(4, 4)
    return np.repeat(np.arange(8), 4), np.concatenate([*number, *number.T]), np.tile([False] * 3 + [True], 8)


def every_table(whole: np.ndarray, withheld: np.ndarray) -> np.ndarray:
    """All tables of whole numbers that agree with what is shown, one a row; only inner cells are withheld."""
    places = np.argwhere(withheld)
    tops = [min(whole[i, SIZE], whole[SIZE, j]) for i, j in places]
    found = []
    for values in product(*(range(top + 1) for top in tops)):
        table = whole[:SIZE, :SIZE].copy()
        table[tuple(places.T)] = values
        if (table.sum(0) == whole[SIZE, :SIZE]).all() and (table.sum(1) == whole[:SIZE, SIZE]).all():
            found.append(values)
    return np.array(found)


@settings(max_examples=60, deadline=None)
@given(
    arrays(np.int64, (SIZE, SIZE), elements=st.integers(0, 4)),
    st.sets(st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=1, max_size=5),
)
def test_an_interval_is_the_range_over_all_tables_that_fit(inner, places):
    """In two-way tables the least and greatest value are whole numbers, so the two must agree exactly."""
    whole = np.block([[inner, inner.sum(1, keepdims=True)], [inner.sum(0), inner.sum()]])
    withheld = np.zeros((SIZE, SIZE), dtype=bool)
    withheld[tuple(np.array(sorted(places)).T)] = True
    is_known = np.ones((4, 4), dtype=bool)
    is_known[:SIZE, :SIZE] = ~withheld
    tables = every_table(whole, withheld)
    cells = [int(4 * i + j) for i, j in np.argwhere(withheld)]
    expected = {cell: (tables[:, k].min(), tables[:, k].max()) for k, cell in enumerate(cells)}
    found = {}
    for part in unknown_cells(whole.ravel(), is_known.ravel(), *margins()).parts():
        for position, cell in enumerate(part.cell):
            found[int(cell)] = tuple(round(limit, 6) for limit in part.interval(position))
    assert found == expected


def test_parts_that_no_equation_joins_are_solved_apart():
    count = np.array([10, 4, 6, 20, 15, 5])
    is_known = np.array([True, False, False, True, False, False])
    equation, cell = np.repeat([0, 1], 3), np.arange(6)
    is_total = np.tile([True, False, False], 2)
    parts = list(unknown_cells(count, is_known, equation, cell, is_total).parts())
    assert [part.cell.tolist() for part in parts] == [[1, 2], [4, 5]]
    assert [part.interval(0) for part in parts] == [(0, 10), (0, 20)]


def test_a_part_of_another_count_cannot_pass_it():
    count = np.array([30, 12, 9])
    is_known = np.array([True, False, False])
    unknown = unknown_cells(
        count, is_known, np.array([0]), np.array([1]), np.array([False]), part_of=np.array([0, 0, 1])
    )
    (part,) = (p for p in unknown.parts() if p.cell.size == 2)
    assert part.interval(1) == (0, 12)
    alone = unknown_cells(
        count,
        np.array([True, True, False]),
        np.zeros(0, int),
        np.zeros(0, int),
        np.zeros(0, bool),
        part_of=np.array([0, 0, 1]),
    )
    assert next(alone.parts()).interval(0) == (0, 12)


def test_a_count_that_nothing_bounds_has_no_greatest_value():
    unknown = unknown_cells(
        np.array([4]), np.array([False]), np.zeros(0, int), np.zeros(0, int), np.zeros(0, bool)
    )
    assert next(unknown.parts()).interval(0) == (0, np.inf)
