"""Group-time effects against statsmodels' difference in differences, and against hand-made courses."""

import numpy as np
import pytest
import statsmodels.api as sm

from pipeline.statistics.group_time_effect import group_time_effects

START = np.array([2, 2, 2, 3, 3, 5, 5, 5])
PERIODS = 5


def people(seed, effect=0.0, wander=0.2):
    """(site, changes by period) of people seen in every period."""
    random = np.random.default_rng(seed)
    site = np.repeat(np.arange(START.size), 30)
    course = random.normal(0, wander, (START.size, PERIODS)).cumsum(axis=1)
    y = 0.5 * np.arange(PERIODS) + course[site] + random.normal(0, 1, (site.size, PERIODS))
    return site, y + np.where(np.arange(PERIODS) >= START[site][:, None], effect, 0)


def cells(site, y):
    n, total, squares = (np.zeros((START.size, PERIODS, PERIODS)) for _ in range(3))
    for base in range(PERIODS):
        for later in range(base + 1, PERIODS):
            change = y[:, later] - y[:, base]
            n[:, base, later] = np.bincount(site)
            total[:, base, later] = np.bincount(site, change)
            squares[:, base, later] = np.bincount(site, change**2)
    return n, total, squares


# Callaway B, Sant'Anna PHC (2021) J Econometrics 225:200-230, eq. 2.9 without covariates: ATT(g, t) is the
# coefficient of being treated in a regression of the change from g − 1 to t, among those treated at g and not
# yet treated at t.
def test_each_group_time_effect_is_the_regression_of_the_two_groups():
    site, y = people(3, effect=-1.0)
    found = {
        (e.start, e.period): e for e in group_time_effects(START, *cells(site, y)) if e.kind == "group_time"
    }
    assert set(found) == {(2, 2), (2, 3), (2, 4), (3, 3), (3, 4)}
    for (group, period), effect in found.items():
        compared = (START[site] == group) | (START[site] > period)
        change = (y[:, period] - y[:, group - 1])[compared]
        treated = (START[site] == group)[compared].astype(float)
        fit = sm.OLS(change, sm.add_constant(treated)).fit()
        assert effect.value == pytest.approx(fit.params[1], abs=1e-10)
        assert (effect.people, effect.sites) == (int(treated.sum()), int((group == START).sum()))


def test_means_over_cells_are_weighted_by_treated_people():
    site, y = people(4, effect=-1.0)
    found = group_time_effects(START, *cells(site, y))
    single = [e for e in found if e.kind == "group_time"]
    overall = next(e for e in found if e.kind == "overall")
    weights = np.array([e.people for e in single])
    assert overall.value == pytest.approx(weights @ [e.value for e in single] / weights.sum())
    at_start = next(e for e in found if e.kind == "event" and e.event_time == 0)
    pair = [e for e in single if e.period == e.start]
    assert at_start.value == pytest.approx(
        np.average([e.value for e in pair], weights=[e.people for e in pair])
    )
    assert overall.low < overall.value < overall.high and 0 < overall.p < 1


def test_a_common_course_is_no_effect_and_a_diverging_one_shows_before_the_start():
    site, _ = people(5)
    common = np.tile(np.arange(PERIODS) * 3.0, (site.size, 1))
    assert all(abs(e.value) < 1e-12 for e in group_time_effects(START, *cells(site, common)))
    diverging = common + np.where(START[site] == 3, 1.0, 0.0)[:, None] * np.arange(PERIODS)
    before = [e for e in group_time_effects(START, *cells(site, diverging)) if e.kind == "pre_trend"]
    assert {(e.start, e.period): round(e.value, 9) for e in before} == {
        (2, 1): -0.4,
        (3, 1): 1.0,
        (3, 2): 1.0,
    }


def test_nobody_left_to_compare_with_leaves_the_cell_out():
    site, y = people(6)
    n, total, squares = cells(site, y)
    n[START == 5] = 0
    assert {
        (e.start, e.period) for e in group_time_effects(START, n, total, squares) if e.kind == "group_time"
    } == {(2, 2)}


def test_no_side_of_two_sites_has_no_interval():
    start = np.array([1, 2])
    n = np.full((2, 2, 2), 40.0)
    total = np.array([np.full((2, 2), -40.0), np.zeros((2, 2))])
    found = next(
        e for e in group_time_effects(start, n, total, np.full((2, 2, 2), 80.0)) if e.kind == "overall"
    )
    assert found.value == -1 and np.isnan(found.low) and np.isnan(found.p)


def test_shapes_that_differ_are_refused():
    with pytest.raises(ValueError, match="they must agree"):
        group_time_effects([1, 2], np.zeros((3, 2, 2)), np.zeros((2, 2, 2)), np.zeros((2, 2, 2)))
