"""Noisy counts: the noise that was promised, one contribution a person, and never finer than suppression.

OpenDP 0.16 draws and accounts. The distribution is checked against its formula, discrete Laplace with scale s:
P(k) = (1 - q) / (1 + q) · q^|k|, q = exp(-1/s) (Ghosh et al., SIAM J Comput 2012;41:1673-93; from memory), whose
variance is 2q / (1 - q)². The draws have no seed, so limits are wide: each test fails by chance once in a million.
"""

from __future__ import annotations

import math

import polars as pl
import pytest

from pipeline import measures
from pipeline.disclosure.noisy_counts import NoiseTooFine, budget, counted, empty_grid, mechanism, noisy

GROUPS = ((5, 9), (10, 19), (20, 39), (40, 99))


def people(**changes):
    row = {"period": "2025Q1", "sex": "female", "age": 30, "banding": "bmi_adult", "band": "normal", "n": 7}
    return pl.DataFrame([row | changes])


def test_a_person_is_in_exactly_one_cell_of_a_period():
    ages = {
        age
        for name in ("bmi_adult", "bmi_child")
        for age in range(measures.BANDINGS[name].age_from, measures.BANDINGS[name].age_to + 1)
    }
    sizes = sum(
        measures.BANDINGS[name].age_to - measures.BANDINGS[name].age_from + 1
        for name in ("bmi_adult", "bmi_child")
    )
    assert len(ages) == sizes
    grid = empty_grid(["2025Q1"], GROUPS)
    assert not grid.is_duplicated().any()
    for age, name in ((5, "bmi_child"), (19, "bmi_child"), (20, "bmi_adult"), (99, "bmi_adult")):
        band = measures.BANDINGS[name].bands[0].name
        cells = counted(grid, people(age=age, banding=name, band=band, n=1))
        assert cells["n"].sum() == 1


def test_the_grid_is_made_of_settings_alone_and_holds_empty_cells():
    grid = empty_grid(["2025Q1"], GROUPS)
    assert grid.height == 2 * (2 * 5 + 2 * 6)
    cells = counted(grid, people())
    assert (
        cells.drop("n").equals(grid) and cells["n"].sum() == 7 and (cells["n"] == 0).sum() == grid.height - 1
    )


def test_one_person_more_costs_what_is_stated():
    laplace = mechanism(0.25, 0, minimum_count=10)
    assert laplace.draw.map(1) == pytest.approx(0.25) and laplace.scale == 4
    gaussian = mechanism(0.25, 1e-6, minimum_count=10)
    from opendp.combinators import make_fix_delta, make_zCDP_to_approxDP

    epsilon, delta = make_fix_delta(make_zCDP_to_approxDP(gaussian.draw), delta=1e-6).map(1.0)
    assert epsilon <= 0.25 and epsilon == pytest.approx(0.25, rel=1e-3) and delta == 1e-6


def test_the_noise_has_the_distribution_of_its_formula():
    of = mechanism(0.25, 0, minimum_count=10)
    draws = of.draw([100] * 40_000)
    q = math.exp(-0.25)
    noise = [draw - 100 for draw in draws]
    variance = 2 * q / (1 - q) ** 2
    assert abs(sum(noise) / len(noise)) < 5 * math.sqrt(variance / len(noise))
    assert sum(x * x for x in noise) / len(noise) == pytest.approx(variance, rel=0.08)
    assert noise.count(0) / len(noise) == pytest.approx((1 - q) / (1 + q), abs=0.009)
    inside = sum(abs(x) <= of.half_width for x in noise) / len(noise)
    assert 0.944 < inside < 0.972  # at least 0.95 by the formula, to the next whole number
    assert min(noise) < 0 < max(noise)


def test_no_two_draws_are_alike():
    cells = counted(empty_grid(["2025Q1"], GROUPS), people())
    of = mechanism(0.25, 0, minimum_count=10)
    first, second = noisy(cells, of), noisy(cells, of)
    assert first["n"].to_list() != second["n"].to_list()
    assert first.drop("n").equals(second.drop("n"))
    assert first["n"].min() < 0  # not cut off: of 44 cells nearly all are empty


@pytest.mark.parametrize(("epsilon", "is_refused"), [(0.25, False), (0.35, True), (5.0, True)])
def test_noise_finer_than_suppression_is_refused(epsilon, is_refused):
    if is_refused:
        with pytest.raises(NoiseTooFine, match="suppression promises 10"):
            mechanism(epsilon, 0, minimum_count=10)
    else:
        assert mechanism(epsilon, 0, minimum_count=10).half_width >= 10


def test_a_budget_is_spent_a_period_at_a_time_and_adds_up():
    cells = counted(empty_grid(["2025Q1", "2025Q2"], GROUPS), people())
    of = mechanism(0.25, 0, minimum_count=10)
    with pytest.raises(ValueError, match="one period at a time"):
        noisy(cells, of)
    drawn = pl.concat([noisy(part, of) for part in cells.partition_by("period")])
    spent = budget(drawn)
    assert spent["epsilon_of_a_person_in_every_period"] == 0.5
    assert spent["delta_of_a_person_in_every_period"] == 0
    assert [one["period"] for one in spent["periods"]] == ["2025Q1", "2025Q2"]
    assert spent["tables"] == ["noisy_count"]
