"""What a chart says never passes what its intervals bear: mechanics, edges in pairs."""

from __future__ import annotations

import polars as pl
import pytest

from dashboards import headlines, trend_headlines
from dashboards.axes import share_cube
from dashboards.cubes import Dimension

BAND = Dimension("band", ("a", "b"), ("Alpha", "Beta"))
PERIOD = Dimension("period", ("2024Q1", "2025Q1"), ("Q1 2024", "Q1 2025"))


def shares(*values):
    """(band, period, share, low, high[, flag]) in per cent."""
    return share_cube(pl.DataFrame([
        {"band": band, "period": period, "proportion": share / 100, "low": low / 100, "high": high / 100, "n": 10,
         "denominator": 100, "flag": flag[0] if flag else None} for band, period, share, low, high, *flag in values],
        schema_overrides={"flag": pl.String}), [PERIOD, BAND])  # fmt: skip


def test_the_most_common_band_is_named_when_intervals_are_apart():
    cube = shares(("a", "2025Q1", 60, 55.1, 65), ("b", "2025Q1", 40, 35, 55.0))
    said = headlines.most_common(cube, {"period": "2025Q1"}, "adults", "Q1 2025")
    assert "60.0\u00a0% of adults" in said
    assert "‘Alpha’" in said
    assert "most common" in said


def test_of_two_bands_whose_intervals_touch_neither_is_the_most_common():
    cube = shares(("a", "2025Q1", 60, 55.0, 65), ("b", "2025Q1", 40, 35, 55.0))
    said = headlines.most_common(cube, {"period": "2025Q1"}, "adults", "Q1 2025")
    assert "‘Alpha’ (60.0\u00a0%) was not clearly more common than ‘Beta’ (40.0\u00a0%)" in said
    assert "most common" not in said


def test_a_withheld_band_makes_it_the_most_common_of_those_shown():
    cube = shares(("a", "2025Q1", 60, 55, 65), ("b", "2025Q1", 1, 1, 2, "withheld"))
    assert "that can be shown" in headlines.most_common(cube, {"period": "2025Q1"}, "adults", "Q1 2025")


@pytest.mark.parametrize(("flag", "word"), [("withheld", "withheld"), ("unreliable", "Too few people")])
def test_nothing_firm_gives_no_figure(flag, word):
    cube = shares(("a", "2025Q1", 60, 55, 65, flag), ("b", "2025Q1", 40, 35, 45, flag))
    said = headlines.most_common(cube, {"period": "2025Q1"}, "adults", "Q1 2025")
    assert word in said
    assert "60" not in said


def test_a_group_without_rows_may_be_nobody_or_withheld_and_the_sentence_says_both():
    cube = shares(("a", "2025Q1", 60, 55, 65))
    assert (
        headlines.most_common(cube, {"period": "2024Q1"}, "adults", "Q1 2024")
        == "There is no figure for adults in Q1 2024: either nobody was measured, or the group is withheld to "
        "protect people in small groups."
    )


def test_a_change_is_named_when_first_and_last_interval_are_apart():
    cube = shares(("a", "2024Q1", 50, 45, 54.9), ("a", "2025Q1", 60, 55, 65),
                  ("b", "2024Q1", 50, 45, 55), ("b", "2025Q1", 40, 35, 45))  # fmt: skip
    said = trend_headlines.first_to_last(cube, {}, "adults")
    assert "rose in ‘Alpha’ (50.0\u00a0% to 60.0\u00a0%)" in said
    assert "Beta" not in said
    assert "no clear change" in said


def test_touching_intervals_are_no_clear_change():
    cube = shares(("a", "2024Q1", 50, 45, 55), ("a", "2025Q1", 60, 55, 65))
    assert trend_headlines.first_to_last(cube, {}, "adults").startswith("No clear change")


def test_a_fall_is_not_praised():
    cube = shares(("a", "2024Q1", 60, 55, 65), ("a", "2025Q1", 50, 45, 54.9))
    said = trend_headlines.first_to_last(cube, {}, "adults")
    assert "fell in ‘Alpha’" in said
    assert not any(word in said.lower() for word in ("good", "better", "improve", "worse", "success"))


def test_one_period_is_no_trend():
    assert "two periods" in trend_headlines.first_to_last(shares(("a", "2025Q1", 50, 45, 55)), {}, "adults")


def test_sites_are_counted_by_whether_their_interval_holds_the_overall_share():
    def cell(low, high):
        return ".", (low + high) // 2, low, high

    overall, hidden = (".", 300, 290, 310), ("w", None, None, None)
    said = headlines.site_spread([cell(300, 400), cell(301, 400), cell(200, 300), hidden], overall, "Q1 2025")
    assert "2 of the 3 sites" in said
    assert "30.0\u00a0%" in said
    assert "For the other 1" in said
    assert "1 more" in said


def spread_cell(**figures):
    return {"state": ".", "p25": 200, "p50": 250, "p75": 300, "p50_low": 245, "p50_high": 255, **figures}


def test_a_middle_value_stands_with_its_interval_or_says_nothing_of_one():
    said = headlines.spread(spread_cell(), "adults", "Q1 2025", " kg", 1)
    assert "between 20.0 and 30.0 kg" in said
    assert "25.0 (95\u00a0% interval 24.5 to 25.5)" in said
    assert "interval" not in headlines.spread(spread_cell(p50_low=None), "adults", "Q1 2025", " kg", 1)


def test_a_withheld_spread_gives_no_figure():
    assert "withheld" in headlines.spread(spread_cell(state="w", p25=None), "adults", "Q1 2025", " kg", 1)
