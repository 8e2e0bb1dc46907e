import numpy as np
import pytest

from pipeline.statistics.age_spline import AgeSpline, distinct_ages

SPLINE = AgeSpline(5, 95, 12)


def test_the_basis_adds_to_one_at_every_age():
    rows = SPLINE.basis(np.linspace(5, 95, 301))
    assert rows.shape == (301, 15)
    assert rows.sum(axis=1) == pytest.approx(np.ones(301), abs=1e-12)
    assert rows.min() >= 0


def test_an_age_outside_the_fit_has_no_row():
    rows = SPLINE.basis([4.99, 5, 95, 95.01])
    assert np.isnan(rows).any(axis=1).tolist() == [True, False, False, True]


def test_a_straight_line_in_the_logarithm_of_age_has_no_roughness_and_a_parabola_has():
    ages = np.linspace(5, 95, 200)
    t = np.log(ages / 5) / np.log(19)
    line, parabola = (np.linalg.lstsq(SPLINE.basis(ages), y, rcond=None)[0] for y in (3 - 2 * t, t**2))
    assert np.sum((SPLINE.roughness_root() @ line) ** 2) == pytest.approx(0, abs=1e-12)
    assert np.sum((SPLINE.roughness_root() @ parabola) ** 2) == pytest.approx(4, rel=1e-6)  # ∫ (t²)″² dt = 4


def test_the_penalty_of_a_cubic_equals_its_integral():
    ages = np.linspace(5, 95, 200)
    t = np.log(ages / 5) / np.log(19)
    cubic = np.linalg.lstsq(SPLINE.basis(ages), t**3, rcond=None)[0]
    assert np.sum((SPLINE.roughness_root() @ cubic) ** 2) == pytest.approx(12, rel=1e-6)  # ∫ (6t)² dt = 12


# In order, as tallies are, ages are told without a sort; out of order, or with one missing, by a sort.
@pytest.mark.parametrize("age", [[20, 20, 21, 40, 40], [40, 20, 21, 20, 40], [20, np.nan, 30, 20], [7], []])
def test_distinct_ages_are_those_of_a_sort(age):
    ages, at = distinct_ages(age)
    by_sort, where = np.unique(np.asarray(age, dtype=float), return_inverse=True)
    assert np.array_equal(ages, by_sort, equal_nan=True)
    assert at.tolist() == where.tolist()
