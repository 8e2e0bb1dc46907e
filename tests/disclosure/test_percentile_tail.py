"""The first n at which a percentile and its limits may be shown, found by counting order statistics."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from invented_tables import percentile_of
from scipy.stats import binom

from pipeline.disclosure import protect
from pipeline.disclosure.percentile_tail import limits_are_open, percentile_is_open
from pipeline.programme import Disclosure


@pytest.mark.parametrize(
    ("percentile", "first_n"), [(50, 20), (90, 92), (95, 182), (97, 302), (3, 301), (25, 37)]
)
def test_a_percentile_opens_with_ten_people_on_either_side(percentile, first_n):
    n = np.array([first_n - 1, first_n])
    assert percentile_is_open(n, np.full(2, percentile), 10).tolist() == [False, True]
    h = 1 + (first_n - 1) * percentile / 100  # Hyndman & Fan 1996, type 7
    assert int(h) >= 10 and first_n - int(h) >= 10


@pytest.mark.parametrize("n", [30, 92, 143, 400, 5000])
@pytest.mark.parametrize("p", [3, 10, 50, 85, 97])
def test_a_limit_is_open_when_its_order_statistic_is_the_tenth_from_the_end_or_further_in(n, p):
    # l = Q(0.025), u = Q(0.975) + 1 of Binomial(n, p): Hahn & Meeker 1991, chapter 5
    lower, upper = binom.ppf(0.025, n, p / 100), binom.ppf(0.975, n, p / 100) + 1
    low, high = limits_are_open(np.array([n]), np.array([p]), 10)
    assert low.tolist() == [lower >= 10]
    assert high.tolist() == [n - upper + 1 >= 10]


def test_of_fewer_people_than_the_minimum_no_limit_is_open():
    n, percentile = np.arange(10), np.full(10, 50)
    assert not np.any(limits_are_open(n, percentile, 10))


def test_under_thirty_people_no_percentile_is_shown_and_with_thirty_the_median_is():
    people = np.zeros((1, 2, 1, 4), int)
    for count, shown in ((29, set()), (30, {50})):
        people[0, 0, 0, 0] = count
        found = protect({"percentile": percentile_of(people)}, Disclosure())["percentile"].filter(
            sex="female"
        )
        assert set(found.filter(pl.col("value").is_not_null())["percentile"]) == shown
        gone = found.filter(pl.col("flag") == "withheld")
        assert all(gone[name].null_count() == gone.height for name in ("value", "low", "high", "n"))


def test_a_limit_too_near_the_end_is_empty_and_its_percentile_stays():
    people = np.zeros((1, 2, 1, 4), int)
    people[0, 0, 0, 0] = (
        100  # the 10th percentile lies on the 10th and 11th person, its limits are the 5th and 17th
    )
    found = protect({"percentile": percentile_of(people, percentiles=(10,))}, Disclosure())["percentile"]
    row = found.filter(sex="female").row(0, named=True)
    assert (row["value"], row["low"], row["high"], row["flag"]) == (70.0, None, 71.0, None)
