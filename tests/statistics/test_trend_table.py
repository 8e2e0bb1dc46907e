"""Trends over invented tallies: strata, gaps between periods, and what cannot be estimated."""

import polars as pl
import pytest

from pipeline.measures import BANDINGS
from pipeline.statistics.trend import trend_over_periods
from pipeline.statistics.trend_table import METHOD, period_number, trend_table

VISCERAL = BANDINGS["visceral_fat"]
GROUPS, TOTALS = [(20, 39), (40, 99)], [(20, 99)]
SCHEMA = ["site", "period", "sex", "age", "banding", "band", "n"]


def tally_of(cells):
    """(site, period, sex, age, in excess, measured) → rows of tally.band."""
    rows = []
    for *key, count, people in cells:
        rows += [(*key, "visceral_fat", "excess", count), (*key, "visceral_fat", "usual", people - count)]
    return pl.DataFrame(rows, schema=SCHEMA, orient="row").filter(pl.col("n") > 0)


def row_of(cells, sex="all", band="excess"):
    table = trend_table(tally_of(cells), [VISCERAL], GROUPS, TOTALS)
    return table.row(by_predicate=(pl.col("sex") == sex) & (pl.col("band") == band), named=True)


CELLS = [
    (site, period, sex, age, count + k + (age > 40) * 4, 60)
    for site, count in (("a", 8), ("b", 12), ("c", 5))
    for k, period in enumerate(("2025Q1", "2025Q2", "2025Q4"))
    for sex in ("female", "male")
    for age in (25, 55)
]


def test_a_row_is_the_trend_within_age_group_and_sex_of_all_sites():
    row = row_of(CELLS)
    number = {"2025Q1": 0, "2025Q2": 1, "2025Q4": 3}
    direct = trend_over_periods(
        [c[4] for c in CELLS], [c[5] for c in CELLS], [number[c[1]] for c in CELLS], [c[0] for c in CELLS],
        [f"{c[2]} {c[3]}" for c in CELLS],
    )  # fmt: skip
    names = ("odds_ratio", "low", "high", "points_a_period", "p")
    assert [row[name] for name in names] == pytest.approx([getattr(direct, name) for name in names])
    assert (row["period_from"], row["period_to"], row["periods"]) == ("2025Q1", "2025Q4", 3)
    assert (row["n"], row["denominator"]) == (sum(c[4] for c in CELLS), 60 * len(CELLS))
    assert (row["method"], row["flag"]) == (METHOD, None)


def test_two_bands_mirror_each_other():
    excess, usual = row_of(CELLS), row_of(CELLS, band="usual")
    assert usual["odds_ratio"] == pytest.approx(1 / excess["odds_ratio"])
    assert usual["points_a_period"] == pytest.approx(-excess["points_a_period"])


def test_a_cohort_that_only_grows_older_has_no_trend():
    cells = [
        (site, period, "female", age, round(people * share), people)
        for site in "abc"
        for period, young in (("2025Q1", 200), ("2025Q2", 100), ("2025Q3", 50))
        for age, people, share in ((25, young, 0.1), (55, 250 - young, 0.5))
    ]
    assert row_of(cells, "female")["odds_ratio"] == pytest.approx(1, abs=1e-6)


def test_one_period_gives_no_rows_and_one_site_no_figures_but_the_reason():
    first = [cell for cell in CELLS if cell[1] == "2025Q1"]
    assert trend_table(tally_of(first), [VISCERAL], GROUPS, TOTALS).is_empty()
    alone = row_of([cell for cell in CELLS if cell[0] == "a"])
    assert alone["odds_ratio"] is None and alone["p"] is None
    assert alone["method"].startswith("none: 1 sites")


@pytest.mark.parametrize(
    ("earlier", "later", "steps"),
    [("2024Q4", "2025Q1", 1), ("2024-12", "2025-02", 2), ("2025Q1", "2025Q4", 3)],
)
def test_periods_are_numbered_without_gaps_over_years(earlier, later, steps):
    assert period_number(later) - period_number(earlier) == steps


@pytest.mark.parametrize("period", ["2025Q5", "2025-13", "2025", "25Q1"])
def test_a_period_of_another_spelling_is_refused(period):
    with pytest.raises(ValueError, match=f"period {period}"):
        period_number(period)
