"""Smooth curves: where they are drawn, and how exactly they tell how many people stand behind them."""

import polars as pl
import pytest

from pipeline.disclosure import protect
from pipeline.programme import Disclosure

RULES = Disclosure()  # 10 people; 30 for a percentile


def published(table: str, **columns) -> dict:
    rows = pl.DataFrame({name: [value] for name, value in columns.items()} | {"flag": [None]}).cast(
        {"flag": pl.String}
    )
    return protect({table: rows}, RULES)[table].row(0, named=True)


def curve_at(n: int, percentile: int, value: float | None = 20.0) -> dict:
    return published(
        "percentile_curve", measure="bmi", unit="kg/m2", sex="female", age=40, percentile=percentile, value=value,
        low=19.0, high=21.0, n=n, method="LMS",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("n", "percentile", "flag"),
    [
        (29, 50, "withheld"),
        (30, 50, None),
        (300, 3, "withheld"),
        (301, 3, None),
        (301, 97, "withheld"),
        (302, 97, None),
    ],
)
def test_a_percentile_needs_ten_people_on_either_side_near_the_age(n, percentile, flag):
    found = curve_at(n, percentile)
    assert found["flag"] == flag
    assert (found["value"] is None) == (found["n"] is None) == (flag == "withheld")


def test_people_near_an_age_are_told_in_tens_and_an_age_without_a_curve_is_withheld():
    assert [curve_at(n, 50)["n"] for n in (30, 39, 40, 999)] == [30, 30, 40, 990]
    assert curve_at(500, 50, value=None)["flag"] == "withheld"


def test_a_curve_of_few_people_loses_its_ages_and_its_reason():
    few, enough = (
        published(
            "curve", measure="bmi", unit="kg/m2", sex="male", n=n, age_from=20, age_to=60, method="none",
            why="too few people: under 400",
        )
        for n in (29, 57)
    )  # fmt: skip
    assert (few["flag"], few["n"], few["age_from"], few["why"], few["method"]) == (
        "withheld",
        None,
        None,
        None,
        "none",
    )
    assert (enough["flag"], enough["n"], enough["why"]) == (None, 50, "too few people: under 400")


def diagnostic(kind: str, at: float, observed: float, n: int) -> dict:
    return published(
        "curve_diagnostic", measure="bmi", sex="female", age_from=20, age_to=29, diagnostic=kind, at=at,
        observed=observed, expected=0.05, low=observed - 0.01234, high=observed + 0.01234, n=n,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "at", "observed", "n", "flag"),
    [
        ("share_below", 5, 9.9 / 200, 200, "withheld"),
        ("share_below", 5, 10 / 200, 200, None),
        ("share_below", 95, 190.1 / 200, 200, "withheld"),
        ("worm", -2.0, 0.1, 439, "withheld"),  # 2.275 % of 439 is under ten
        ("worm", -2.0, 0.1, 440, None),
        ("worm", 2.0, 0.1, 439, "withheld"),
        ("q", 1, 0.5, 29, "withheld"),
        ("q", 1, 0.5, 30, None),
    ],
)
def test_a_diagnostic_needs_ten_people_on_either_side(kind, at, observed, n, flag):
    assert diagnostic(kind, at, observed, n)["flag"] == flag


def test_shares_are_told_to_a_person_and_scores_to_a_hundredth():
    share, worm = diagnostic("share_below", 5, 0.05432, 740), diagnostic("worm", 0.0, 0.05432, 740)
    assert (share["observed"], share["low"], share["high"], share["n"]) == pytest.approx(
        (0.054, 0.04, 0.068, 740)
    )
    assert (worm["observed"], worm["low"], worm["high"]) == pytest.approx((0.05, 0.04, 0.07))
