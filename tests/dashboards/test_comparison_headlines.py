"""What is said of trends, curves, references, sites and analysers stays within their intervals: mechanics."""

from __future__ import annotations

import polars as pl
import pytest

from dashboards import headlines, site_headlines, trend_headlines
from dashboards.axes import percentile_cube, share_cube
from dashboards.cubes import Column, Dimension, cube
from dashboards.trends import FIGURES
from dashboards.wording import TEXT
from pipeline.release import schema

BAND = Dimension("band", ("a", "b"), ("Alpha", "Beta"))
PER_CENT = site_headlines.Writer(1, "%")


# ---- fitted trends


def trends(*values):
    """(band, odds ratio, low, high, points[, flag])."""
    rows = [
        {"band": band, "odds_ratio": ratio, "low": low, "high": high, "points_a_period": points, "p": 0.01,
         "denominator": 100, "flag": flag[0] if flag else None}
        for band, ratio, low, high, points, *flag in values
    ]  # fmt: skip
    return cube(pl.DataFrame(rows, schema_overrides={"flag": pl.String}), [BAND], FIGURES)


def said_of(made):
    return trend_headlines.fitted_trend(made, {}, "adults", "Q1 2024", "Q4 2025")


def test_a_trend_is_named_when_its_interval_leaves_out_one():
    said = said_of(trends(("a", 1.05, 1.001, 1.1, 0.004), ("b", 1.02, 0.99, 1.05, 0.002)))
    assert "rose in ‘Alpha’ (by about 0.40 percentage points a period)" in said
    assert "Beta" not in said
    assert "no clear trend" in said


@pytest.mark.parametrize(("low", "high"), [(1.0, 1.1), (0.9, 1.0), (0.95, 1.05)])
def test_an_interval_that_holds_one_is_no_clear_trend(low, high):
    assert said_of(trends(("a", 1.0, low, high, 0.0))).startswith("No clear trend")


def test_a_falling_trend_is_written_without_a_minus_and_without_praise():
    said = said_of(trends(("a", 0.9, 0.85, 0.95, -0.0125)))
    assert "fell in ‘Alpha’ (by about 1.25 percentage points a period)" in said
    assert not any(word in said.lower() for word in ("good", "better", "improve", "worse", "success"))


def test_a_group_without_a_trend_leaves_the_word_to_first_and_last_period():
    assert said_of(trends(("c", 1.1, 1.05, 1.2, 0.01))) == ""


def test_withheld_trends_are_called_so():
    made = trends(("a", 1.1, 1.05, 1.2, 0.01, "withheld"))
    assert "withheld" in said_of(made)
    assert "withheld" in trend_headlines.firm_trends(made, {}, "adults")


def test_trends_are_counted_by_their_intervals():
    made = trends(("a", 1.05, 1.001, 1.1, 0.004), ("b", 1.02, 1.0, 1.05, 0.002))
    assert "1 of the 2 trends" in trend_headlines.firm_trends(made, {}, "adults")
    assert "only" in trend_headlines.firm_trends(trends(("c", 1.1, 1.05, 1.2, 0.01)), {}, "adults aged 20–29")


# ---- curves


YEAR = Dimension("year", ("20", "50"), ("20", "50"))
SEX = Dimension("sex", ("female",), ("Female",))


def curve(*middles):
    """(age, value, low, high) of the 50th percentile."""
    rows = [
        {"sex": "female", "year": age, "percentile": 50, "value": value, "low": low, "high": high, "n": 9,
         "flag": None}
        for age, value, low, high in middles
    ]  # fmt: skip
    frame = pl.DataFrame(rows, schema_overrides={"flag": pl.String, "low": pl.Float64, "high": pl.Float64})
    return percentile_cube(frame, [SEX, YEAR], {"decimals": 1}, (50,))


def test_a_curve_s_ends_are_named_when_their_intervals_are_apart():
    said = headlines.over_ages(curve(("20", 60, 59, 61), ("50", 70, 61.1, 72)), "female", " kg", 1)
    assert "lowest at age 20 (60.0 kg) and highest at age 50 (70.0 kg)" in said


def test_touching_intervals_of_a_curve_are_no_clear_difference():
    said = headlines.over_ages(curve(("20", 60, 59, 61), ("50", 70, 61.0, 72)), "female", " kg", 1)
    assert "no clear difference" in said


def test_a_curve_without_intervals_claims_none():
    said = headlines.over_ages(curve(("20", 60, None, None), ("50", 70, None, None)), "female", " kg", 1)
    assert "no interval" in said
    assert "overlap" not in said


# ---- the reference, the standard


def reference(low, high, flag=None):
    centile = Dimension("centile", ("50",), ("Below the 50th centile",))
    frame = pl.DataFrame(
        [{"centile": "50", "share": 0.45, "low": low, "high": high, "expected": 0.5, "flag": flag}],
        schema_overrides={"flag": pl.String},
    )
    return cube(
        frame, [centile], {name: Column(name, 1000, 1) for name in ("share", "low", "high", "expected")}
    )


@pytest.mark.parametrize(
    ("low", "high", "word"),
    [(0.4, 0.499, "clearly fewer"), (0.4, 0.5, "not clearly different"), (0.5, 0.6, "not clearly different"),
     (0.501, 0.6, "clearly more")],
)  # fmt: skip
def test_a_share_differs_from_the_reference_only_if_its_interval_does(low, high, word):
    assert word in headlines.against_reference(reference(low, high), {}, "children", "Q4 2025")


@pytest.mark.parametrize("flag", ["withheld", "unreliable"])
def test_a_position_that_is_not_firm_is_not_told(flag):
    said = headlines.against_reference(reference(0.4, 0.45, flag), {}, "children", "Q4 2025")
    assert "withheld or rests on too few people" in said
    assert "45" not in said


def both(crude, standardised, low, high):
    kind = Dimension("kind", ("crude", "standardised"), ("As measured", "Age-standardised"))
    rows = [
        {"band": "a", "kind": name, "proportion": share, "low": low, "high": high, "n": 10, "denominator": 100,
         "flag": None}
        for name, share in (("crude", crude), ("standardised", standardised))
    ]  # fmt: skip
    return share_cube(pl.DataFrame(rows, schema_overrides={"flag": pl.String}), [BAND, kind])


def test_a_standardised_share_moves_when_the_crude_one_leaves_its_interval():
    moved = headlines.moved_by_standard(
        both(0.30, 0.25, 0.22, 0.299), {}, "adults", "Q4 2025", "the standard"
    )
    assert "‘Alpha’ (25.0\u00a0% instead of 30.0\u00a0%)" in moved
    same = headlines.moved_by_standard(both(0.30, 0.25, 0.22, 0.300), {}, "adults", "Q4 2025", "the standard")
    assert "no share" in same


# ---- sites


def site(value, low=200, high=400, far_low=100, far_high=500, state="."):
    return {"state": state, "value": value, "limit_low": low, "limit_high": high, "outer_low": far_low,
            "outer_high": far_high, "reference": 300, "shrunken": value, "shrunken_low": low,
            "shrunken_high": high}  # fmt: skip


def test_a_site_on_a_limit_is_inside_and_one_step_further_is_outside():
    said = site_headlines.funnel([site(400), site(401), site(200), site(199)], "adults", "Q4 2025", PER_CENT)
    assert "2 of 4 sites with a firm figure" in said
    assert "30.0\u00a0%" in said
    assert "99.8 %" not in said


@pytest.mark.parametrize(("values", "words"), [((501,), "One site lies"), ((501, 99), "2 sites lie")])
def test_a_site_beyond_the_outer_limits_is_worth_a_question_and_no_verdict(values, words):
    said = site_headlines.funnel([site(v) for v in values], "adults", "Q4 2025", PER_CENT)
    assert words in said
    assert "worth a question, not a verdict" in said


def test_a_funnel_says_how_many_chance_alone_would_put_outside():
    assert "about 1.2 would" in site_headlines.funnel([site(300)] * 24, "adults", "Q4 2025", PER_CENT)


@pytest.mark.parametrize("state", ["w", "u", "-"])
def test_sites_without_a_firm_figure_are_not_counted(state):
    said = site_headlines.funnel([site(900, state=state)], "adults", "Q4 2025", PER_CENT)
    assert "no site has a figure" in said


def test_a_period_in_which_sites_are_not_compared_says_so():
    for sentence in (site_headlines.funnel, site_headlines.shrunken):
        assert "latest periods only" in sentence([], "adults", None, PER_CENT)


def test_shrunken_figures_are_told_as_a_range_without_naming_a_site():
    said = site_headlines.shrunken([site(250), site(350, low=301)], "adults", "Q4 2025", PER_CENT)
    assert "from 25.0\u00a0% to 35.0\u00a0%" in said
    assert "for 1 of 2 sites" in said


def test_the_spread_between_sites_is_of_the_last_period_that_has_one():
    cells = [
        ("Q3 2025", {"state": ".", "sd": 210, "i2": 64}),
        ("Q4 2025", {"state": "w", "sd": None, "i2": None}),
    ]
    assert "In Q3 2025 the figures of sites spread by 2.10\u00a0points" in site_headlines.between(
        cells, 2, "points", "adults"
    )
    none = [("Q4 2025", {"state": ".", "sd": 0, "i2": 0})]
    assert "chance alone explains" in site_headlines.between(none, 2, "points", "adults")


# ---- analysers and entries


def analyser(*signals):
    return [
        (f"Q{i + 1} 2025", {"state": ".", "difference": 10, "signal": signal})
        for i, signal in enumerate(signals)
    ]


WORDS = ("–", "drift", "shift")


def test_an_analyser_with_a_signal_is_worth_checking_with_the_period_it_began():
    said = site_headlines.steadiness([("Quay A1", analyser(0, 2, 1)), ("Quay B2", analyser(0, 0, 0))], WORDS)
    assert said == "1 of 2 analysers is worth checking: Quay A1 (drift, first in Q2 2025)."


def test_every_published_signal_has_words_of_its_own():
    signals = next(column for column in schema.DEVICE.columns if column.name == "signal").limits["enum"]
    words = [TEXT[f"signal.{signal}"] for signal in signals]
    assert len(set(words)) == len(words) == 6


def test_steady_analysers_are_told_so_and_missing_ones_are_not_called_steady():
    assert "None of 2 analysers" in site_headlines.steadiness([("A", analyser(0)), ("B", analyser(0))], WORDS)
    assert "gave no signal" in site_headlines.steadiness([("A", analyser(0))], WORDS)
    assert "No analyser" in site_headlines.steadiness([], WORDS)
    hidden = [("Q1 2025", {"state": "w", "difference": None, "signal": None})]
    assert "No analyser" in site_headlines.steadiness([("A", hidden)], WORDS)


def test_many_signals_are_counted_and_not_listed():
    said = site_headlines.steadiness([(f"A{i}", analyser(2)) for i in range(4)], WORDS)
    assert "4 of 4 analysers are worth checking." in said


@pytest.mark.parametrize(("p", "word"), [(0, "Worth checking"), (1, "Nothing here stands out")])
def test_an_entry_is_worth_checking_below_one_in_a_thousand(p, word):
    assert word in site_headlines.entries([("Last digits of weight", {"state": ".", "p": p})])
