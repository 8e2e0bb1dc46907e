"""Sums of whole numbers by group, against Python's own, which have no limit."""

import numpy as np
import pytest

from pipeline.statistics.exact_sum import exact_sums


def python_sums(group, row, terms, groups):
    found = [[0] * terms.shape[1] for _ in range(groups)]
    for g, r in zip(group.tolist(), row.tolist(), strict=True):
        found[g] = [total + term for total, term in zip(found[g], terms[r].tolist(), strict=True)]
    return np.array([[float(total) for total in totals] for totals in found])


@pytest.mark.parametrize("largest", [10**3, 10**14, 2**62])
def test_sums_are_those_of_whole_numbers_without_a_limit(largest):
    """With the largest, forty people pass 2⁶³: there sums are taken in two halves, to half a unit of a float's last."""
    random = np.random.default_rng(5)
    terms = random.integers(-largest, largest, (30, 3))
    group, row = random.integers(0, 5, 200), random.integers(0, 30, 200)
    found, expected = exact_sums(group, row, terms, 5), python_sums(group, row, terms, 5)
    if largest < 2**62:
        assert np.array_equal(found, expected)
    assert found == pytest.approx(expected, rel=1e-13)


def test_the_order_of_people_does_not_matter():
    random = np.random.default_rng(6)
    terms, group, row = (
        random.integers(-(2**62), 2**62, (30, 2)),
        random.integers(0, 4, 300),
        random.integers(0, 30, 300),
    )
    order = random.permutation(300)
    assert np.array_equal(exact_sums(group, row, terms, 4), exact_sums(group[order], row[order], terms, 4))


def test_a_group_without_people_has_sums_of_nothing():
    found = exact_sums(np.array([2, 2]), np.array([0, 0]), np.array([[7, -1]]), 4)
    assert found.tolist() == [[0, 0], [0, 0], [14, -2], [0, 0]]
