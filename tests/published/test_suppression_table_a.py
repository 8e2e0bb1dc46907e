"""Cell suppression on a table of four sites by four bands whose answers are known by exhaustive search.

The table, its linear programmes and the search over all 2**14 patterns were worked out beforehand with another
program (HiGHS through SciPy 1.17 for the intervals; plain enumeration for the optimum). The methods: Fischetti &
Salazar, Manage Sci 2001;47:1008-27; Hundepool et al., Statistical Disclosure Control, Wiley 2012, chapter 4
(from memory).
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.audit import audit_tables
from pipeline.audit.whole_numbers import whole_intervals
from pipeline.disclosure import protect
from pipeline.disclosure.inference import unknown_cells
from pipeline.disclosure.optimum import optimal_suppression
from pipeline.programme import Disclosure

BANDS = ["under", "healthy", "over", "obese"]
SITES = ["a", "b", "c", "d"]
INNER = np.array([[4, 31, 22, 13], [12, 40, 28, 20], [6, 25, 30, 19], [15, 44, 36, 25]])
WHOLE = np.block([[INNER, INNER.sum(1, keepdims=True)], [INNER.sum(0), INNER.sum()]])
SMALL = [(0, 0), (2, 0)]  # 4 and 6
OPTIMUM = [*SMALL, (0, 3), (2, 3)]  # and 13 and 19: 32 people, unique


def margins() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(equation, cell, is_total) of every row and column of the 5 by 5 table, margins last."""
    number = np.arange(25).reshape(5, 5)
    sums = [*number, *number.T]
    return np.repeat(np.arange(10), 5), np.concatenate(sums), np.tile([False] * 4 + [True], 10)


def intervals(
    withheld: list[tuple[int, int]], low: dict | None = None, high: dict | None = None
) -> list[tuple]:
    is_known = np.ones((5, 5), dtype=bool)
    lowest, highest = np.zeros((5, 5)), np.full((5, 5), np.inf)
    for where in withheld:
        is_known[where] = False
        lowest[where], highest[where] = (low or {}).get(where, 0), (high or {}).get(where, np.inf)
    unknown = unknown_cells(
        WHOLE.ravel(), is_known.ravel(), *margins(), lowest=lowest.ravel(), highest=highest.ravel()
    )
    found = {}
    for part in unknown.parts():
        for position, cell in enumerate(part.cell):
            found[divmod(int(cell), 5)] = part.interval(position)
    return [found[where] for where in withheld]


def test_the_two_small_counts_alone_are_recovered_exactly():
    assert intervals(SMALL) == [(4, 4), (6, 6)]


def test_with_the_two_next_to_them_each_has_a_wide_interval():
    assert intervals(OPTIMUM) == [(0, 10), (0, 10), (7, 17), (15, 25)]


def test_two_different_flags_would_narrow_the_intervals():
    """A reader who is told which counts are small knows them to be 1 to 9, and the others to be 10 or more."""
    low = {SMALL[0]: 1, SMALL[1]: 1, OPTIMUM[2]: 10, OPTIMUM[3]: 10}
    assert intervals(OPTIMUM, low, dict.fromkeys(SMALL, 9)) == [(1, 7), (3, 9), (10, 16), (16, 22)]


def results() -> pl.DataFrame:
    """The table as results: four sites and all, one banding, both sexes together."""
    rows = [
        (
            "body_fat",
            BANDS[j],
            "all" if i == 4 else "site",
            None if i == 4 else SITES[i],
            "2025Q1",
            "all",
            20,
            79,
            int(WHOLE[i, j]),
            int(WHOLE[i, 4]),
            WHOLE[i, j] / WHOLE[i, 4],
            0.0,
            1.0,
            "invented",
            None,
        )
        for i in range(5)
        for j in range(4)
    ]
    columns = [
        "banding",
        "band",
        "population",
        "site",
        "period",
        "sex",
        "age_from",
        "age_to",
        "n",
        "denominator",
        "proportion",
        "low",
        "high",
        "method",
        "flag",
    ]
    return pl.DataFrame(rows, schema=columns, orient="row", schema_overrides={"flag": pl.String})


def test_the_suppressor_finds_the_optimum_here():
    shown = protect({"prevalence": results()}, Disclosure())["prevalence"].filter(pl.col("flag") == "withheld")
    assert set(shown.select("site", "band").rows()) == {(SITES[i], BANDS[j]) for i, j in OPTIMUM}


def without(withheld: list[tuple[int, int]]) -> dict[str, pl.DataFrame]:
    """The table with these cells withheld."""
    gone = pl.any_horizontal(
        (pl.col("site") == SITES[i]) & (pl.col("band") == BANDS[j]) for i, j in withheld
    ).fill_null(False)
    figures = ("n", "denominator", "proportion", "low", "high")
    return {"prevalence": results().with_columns(pl.when(~gone).then(name).alias(name) for name in figures)}


def audited(withheld: list[tuple[int, int]]) -> pl.DataFrame:
    """What the audit finds of the small counts when these cells are withheld."""
    return audit_tables({"prevalence": results()}, without(withheld), Disclosure()).cells.sort("site")


def test_the_audit_finds_the_two_small_counts_recovered():
    found = audited(SMALL)
    assert found.select("n", "low", "high", "verdict").rows() == [(4, 4, 4, "narrow"), (6, 6, 6, "narrow")]


def test_the_audit_finds_the_optimum_sound_and_its_intervals_as_wide_as_they_are():
    assert set(audited(OPTIMUM)["verdict"]) <= {"example", "programme"}
    exact = whole_intervals({"prevalence": results()}, without(OPTIMUM), Disclosure()).sort("site")
    assert exact.select("n", "low", "high").rows() == [(4, 0, 10), (6, 0, 10)]
    assert exact.select("whole_low", "whole_high").rows() == [(0, 10), (0, 10)]  # two-way tables: nothing gained


def optimum(**rule) -> set[tuple[int, int]]:
    """The exact optimum with the margins published."""
    sensitive, inner = np.zeros((5, 5), dtype=bool), np.zeros((5, 5), dtype=bool)
    inner[:4, :4] = True
    for where in SMALL:
        sensitive[where] = True
    found = optimal_suppression(
        WHOLE.ravel(), sensitive.ravel(), *margins(), may_withhold=inner.ravel(), **rule
    )
    return {divmod(int(cell), 5) for cell in np.flatnonzero(found)}


@pytest.mark.parametrize(
    "rule",
    [{"width": 1}, {"width": 10}, {"width": 10, "reach": (0, 10)}],
    ids=["not exact", "ten wide", "nought and ten both possible"],
)
def test_the_exact_optimum_is_the_one_of_the_search_under_each_rule(rule):
    assert optimum(**rule) == set(OPTIMUM)
    assert sum(WHOLE[where] for where in optimum(**rule) - set(SMALL)) == 32


def test_counted_by_cells_two_more_are_enough():
    assert len(optimum(width=10, cost=np.ones(25))) == 4


def test_counts_that_do_not_add_up_are_refused():
    wrong = WHOLE.copy()
    is_known = np.ones(25, dtype=bool)
    is_known[[0, 10, 3, 13]] = False
    unknown = unknown_cells(wrong.ravel(), is_known, *margins())
    with pytest.raises(ValueError, match="no table fits what is published"):
        type(unknown)(
            unknown.cell,
            unknown.sums,
            unknown.known + np.array([1, 0, 0, 0]),
            unknown.order,
            unknown.bound,
            unknown.lowest,
            unknown.highest,
            unknown.truth,
        ).interval(0)
