"""The interval of all sites together, worked by hand from the counts of each."""

import numpy as np
import pytest
from scipy.stats import beta, t

from pipeline.statistics.clustered_proportion import clustered_proportion, jackknifed_proportion
from pipeline.statistics.published_proportion import (
    ONE_SITE,
    coarse_design_effect,
    coarse_proportion,
    korn_graubard,
    proportions_of_all,
    site_matrices,
)

COUNT, PEOPLE = [12, 30, 9, 22, 41], [80, 120, 75, 100, 125]


def by_hand(count, people):
    """Korn & Graubard (1998) with the jackknife over sites, step by step; effect up, freedom down to a quarter."""
    count, people = np.array(count), np.array(people)
    sites, n = (people > 0).sum(), people.sum()
    p = count.sum() / n
    without = (count.sum() - count) / (n - people)
    effect = np.ceil(4 * (sites - 1) / sites * sum((without - p) ** 2) / (p * (1 - p) / n)) / 4
    freedom = np.floor(4 * (n**2 / sum(people**2) - 1)) / 4
    effective = min(n, n / effect) * (t.ppf(0.975, n - 1) / t.ppf(0.975, freedom)) ** 2
    k = effective * p
    return beta.ppf(0.025, k, effective - k + 1), beta.ppf(0.975, k + 1, effective - k), effect


def test_interval_and_design_effect_are_korn_and_graubards_with_the_effect_rounded_up_to_a_quarter():
    row = proportions_of_all([COUNT], [PEOPLE]).row(0, named=True)
    low, high, effect = by_hand(COUNT, PEOPLE)
    assert (row["low"], row["high"]) == pytest.approx((low, high), rel=1e-9)
    assert row["design_effect"] == effect == 4.0
    assert row["method"] == korn_graubard(5)


def test_a_site_that_pulls_the_mean_to_itself_does_not_make_the_design_effect_small():
    """One site of 900 among five: by Taylor linearisation it hardly differs from the mean that it makes."""
    count, people = [300, 8, 12, 5, 14], [900, 25, 25, 25, 25]
    row = proportions_of_all([count], [people]).row(0, named=True)
    assert row["design_effect"] == by_hand(count, people)[2] > 5
    assert clustered_proportion(count, people).design_effect[0] < 2


def test_degrees_of_freedom_are_rounded_down_to_a_quarter():
    assert jackknifed_proportion(COUNT, PEOPLE).freedom[0] == pytest.approx(3.803, abs=5e-4)
    assert coarse_proportion(COUNT, PEOPLE).freedom[0] == 3.75
    assert coarse_proportion([6] * 8, [20] * 8).freedom[0] == 7  # sites alike: sites − 1, whatever the last bit


def test_a_design_effect_is_rounded_up_and_a_whole_quarter_stays():
    found = coarse_design_effect(np.array([0.2, 1.0, 1 + 1e-12, 1.01, 1.25, 1.26, np.nan]))
    np.testing.assert_array_equal(found, [0.25, 1.0, 1.0, 1.25, 1.25, 1.5, np.nan])


def test_two_sites_with_few_people_can_seldom_be_solved_for_from_the_published_row():
    """Sites of 40 and 60 people beside a large one, 10 in the band together: which of them has how many?

    Rounding hides it unless the design effect happens to lie at the edge of a step.
    """
    hidden = 0
    for of_large in range(500, 1000, 20):
        seen = {}
        for x in range(11):
            row = proportions_of_all([[x, 10 - x, of_large]], [[40, 60, 9000]]).row(0)
            seen.setdefault(row, set()).add(x)
        hidden += len(seen) == 1
    assert hidden >= 19  # of 25


def test_one_site_has_the_score_interval_and_says_so():
    row = proportions_of_all([[0, 81]], [[0, 263]]).row(0, named=True)
    assert (row["low"], row["high"]) == pytest.approx((0.2553, 0.3662), abs=5e-5)  # Newcombe (1998), method 3
    assert (row["design_effect"], row["method"], row["flag"]) == (None, ONE_SITE, None)


def test_nobody_in_the_band_has_no_design_effect_and_the_limit_of_all_people():
    row = proportions_of_all([[0, 0, 0]], [[50, 50, 50]]).row(0, named=True)
    assert row["design_effect"] is None
    effective = 150 * (t.ppf(0.975, 149) / t.ppf(0.975, 2)) ** 2
    assert (row["low"], row["high"]) == pytest.approx((0, beta.ppf(0.975, 1, effective)))


@pytest.mark.parametrize(
    ("count", "people", "flag"),
    [
        ([6, 6, 6, 6, 6], [20] * 5, None),
        ([6, 6, 6, 6, 5], [6, 6, 6, 6, 5], "unreliable"),
        ([0, 19, 1, 18, 0], [20] * 5, "unreliable"),
        ([1, 0, 0, 1, 1], [20] * 5, "unreliable"),
    ],
)
def test_a_row_is_flagged_when_the_standard_would_not_show_it(count, people, flag):
    assert proportions_of_all([count], [people])["flag"].to_list() == [flag]


def test_a_cell_with_nobody_is_refused():
    with pytest.raises(ValueError, match="cell 1: nobody measured"):
        proportions_of_all([[1, 2], [0, 0]], [[4, 5], [0, 0]])


def test_sites_stand_in_columns_by_name_and_a_site_without_a_row_has_nobody():
    import polars as pl

    whole = pl.DataFrame({"period": ["b", "a"]})
    by_site = pl.DataFrame(
        {
            "period": ["a", "a", "b", "c"],
            "site": ["y", "x", "y", "x"],
            "n": [1, 2, 3, 4],
            "denominator": [5, 6, 7, 8],
        }
    )
    count, people = site_matrices(whole, by_site, ["period"])
    assert count.tolist() == [[0, 3], [2, 1]]
    assert people.tolist() == [[0, 7], [6, 5]]
