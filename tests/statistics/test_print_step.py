import numpy as np
import pytest

from pipeline.statistics.print_step import MERGED, MOST_CELLS, PARTS, merged_steps, spread_over_step


def test_a_coarse_value_is_spread_evenly_over_what_rounds_to_it():
    age, value, n = spread_over_step([30, 40], [7, 9], [10, 20], step=1.0)
    assert age.tolist() == [30] * PARTS + [40] * PARTS
    assert value[:PARTS] == pytest.approx([6.6, 6.8, 7.0, 7.2, 7.4])
    assert n.tolist() == [2] * PARTS + [4] * PARTS
    assert set(np.round(value)) == {7, 9}


def test_people_and_their_mean_stay():
    values, people = [1, 2, 3, 5], [4, 7, 2, 1]
    _, value, n = spread_over_step([30] * 4, values, people, step=1.0)
    assert n.sum() == pytest.approx(14)
    assert n @ value / 14 == pytest.approx(np.average(values, weights=people))


def test_a_step_that_is_fine_beside_the_spread_changes_nothing():
    value = np.linspace(50, 100, 51)
    spread = np.std(value)
    for step, cells in ((0.0, 51), (0.0999 * spread, 51), (0.1001 * spread, 51 * PARTS)):
        assert spread_over_step(np.full(51, 30), value, np.ones(51), step)[1].size == cells


def test_no_cells_give_no_cells():
    assert spread_over_step([], [], [], 1.0)[0].size == 0


def test_a_step_below_0_is_refused():
    with pytest.raises(ValueError, match="a print step of -1"):
        spread_over_step([30], [7], [1], -1.0)


def many_cells():
    random = np.random.default_rng(4)
    age = np.repeat(np.arange(20, 60), 1000)
    steps = np.tile(np.arange(1000.0), 40) + 10 * age
    return age, steps, random.integers(1, 9, age.size)


def test_very_many_cells_are_merged_within_an_age_and_keep_people_and_means():
    age, steps, n = many_cells()
    merged_age, merged, people = merged_steps(age, steps, n)
    assert merged_age.size < MOST_CELLS < age.size
    for year in (20, 41, 59):
        here, before = merged_age == year, age == year
        assert people[here].sum() == n[before].sum()
        assert people[here] @ merged[here] == pytest.approx(n[before] @ steps[before])
        wide = np.cov(merged[here], fweights=people[here].astype(int))
        assert wide == pytest.approx(np.cov(steps[before], fweights=n[before]), rel=MERGED**2)
        assert np.all(np.diff(merged[here]) > 0)


def test_few_cells_stay_as_they_are():
    age, steps, n = (part[:MOST_CELLS] for part in many_cells())
    assert merged_steps(age, steps, n)[1].tolist() == steps.tolist()
    assert merged_steps([], [], [])[0].size == 0
