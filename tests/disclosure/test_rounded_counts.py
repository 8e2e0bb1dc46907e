"""Rounding to base 5: the same people the same figure everywhere, and no exact count beside it."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.disclosure.rounded_counts import nearest_multiple, rounded_counts
from pipeline.statistics.proportion_interval import wilson_interval


def prevalence(n, denominator, population="site", low=None, high=None):
    share = n / denominator if n is not None else None
    return pl.DataFrame(
        {
            "population": [population],
            "n": [n],
            "denominator": [denominator if n is not None else None],
            "proportion": [share],
            "low": [low if low is not None else share],
            "high": [high if high is not None else share],
        },
        schema_overrides={"n": pl.Int64, "denominator": pl.Int64, "proportion": pl.Float64},
    )


@pytest.mark.parametrize(
    ("count", "rounded"),
    [
        (0, 0),
        (1, 0),
        (2, 0),
        (3, 5),
        (4, 5),
        (5, 5),
        (7, 5),
        (8, 10),
        (12, 10),
        (13, 15),
        (1_000_003, 1_000_005),
    ],
)
def test_a_count_goes_to_the_nearest_multiple(count, rounded):
    frame = pl.DataFrame({"n": [count, None]})
    assert frame.select(nearest_multiple(pl.col("n"), 5)).to_series().to_list() == [rounded, None]


def test_the_same_people_are_the_same_figure_in_every_table():
    tables = {
        "prevalence": prevalence(13, 42),
        "percentile": pl.DataFrame({"value": [25.1], "n": [42]}),
        "data_quality": pl.DataFrame({"n": [13], "denominator": [42], "proportion": [13 / 42]}),
        "total": pl.DataFrame({"item": ["people"], "n": [42]}),
        "trend": pl.DataFrame({"n": [13], "denominator": [42], "odds_ratio": [1.2]}),
    }
    found = rounded_counts(tables, 5)
    assert {
        frame["n"][0] for name, frame in found.items() if name in ("prevalence", "data_quality", "trend")
    } == {15}
    assert {found["percentile"]["n"][0], found["total"]["n"][0], found["prevalence"]["denominator"][0]} == {
        40
    }
    assert found["prevalence"]["proportion"][0] == found["data_quality"]["proportion"][0] == 15 / 40
    assert found["percentile"]["value"][0] == 25.1 and found["trend"]["odds_ratio"][0] == 1.2


def test_a_sites_interval_is_that_of_the_rounded_counts():
    low, high = wilson_interval([13], [42])
    found = rounded_counts({"prevalence": prevalence(13, 42, low=low[0], high=high[0])}, 5)["prevalence"]
    expected = wilson_interval([15], [40])
    assert (found["low"][0], found["high"][0]) == pytest.approx((expected[0][0], expected[1][0]), abs=1e-12)


def test_all_counts_that_round_alike_look_alike():
    seen = set()
    for n in range(13, 18):
        for denominator in range(98, 103):
            low, high = wilson_interval([n], [denominator])
            rows = prevalence(n, denominator, low=low[0], high=high[0])
            seen.add(rounded_counts({"prevalence": rows}, 5)["prevalence"].rows()[0])
    assert len(seen) == 1


def test_other_limits_go_outward_to_whole_steps_and_hold_the_share():
    rows = prevalence(13, 98, "all", low=0.0812, high=0.2101)
    found = rounded_counts({"prevalence": rows}, 5)["prevalence"].row(0, named=True)
    assert (
        found["proportion"] == 15 / 100
        and found["low"] == pytest.approx(0.05)
        and found["high"] == pytest.approx(0.25)
    )
    rows = prevalence(13, 98, "all", low=0.1499, high=0.1501)  # never without the share that they belong to
    found = rounded_counts({"prevalence": rows}, 5)["prevalence"].row(0, named=True)
    assert found["low"] <= found["proportion"] <= found["high"]


def test_a_standardised_share_goes_to_a_step_of_five_people():
    rows = pl.DataFrame(
        {"n": [13], "denominator": [98], "proportion": [0.1372], "low": [0.08], "high": [0.21]}
    )
    found = rounded_counts({"standardised_prevalence": rows}, 5)["standardised_prevalence"].row(0, named=True)
    assert (found["n"], found["denominator"]) == (15, 100)
    assert found["proportion"] == pytest.approx(0.15)


def test_withheld_stays_withheld_and_without_rounding_nothing_changes():
    withheld = prevalence(None, 42)
    assert rounded_counts({"prevalence": withheld}, 5)["prevalence"].equals(withheld)
    tables = {"prevalence": prevalence(13, 42)}
    assert rounded_counts(tables, None) is tables


def test_a_share_of_a_denominator_that_rounds_to_nothing_is_empty():
    rows = pl.DataFrame({"n": [1], "denominator": [2], "proportion": [0.5]})
    assert rounded_counts({"data_quality": rows}, 5)["data_quality"].row(0) == (0, 0, None)


def outcome(value: float, n: int, statistic: str = "lost_5_percent", unit: str = "1") -> pl.DataFrame:
    return pl.DataFrame(
        {"statistic": [statistic], "unit": [unit], "n": [n], "denominator": [2 * n],
         "value": [value], "low": [value - 0.031], "high": [value + 0.031]}
    )  # fmt: skip


def test_every_count_that_rounds_alike_has_the_same_share_of_those_seen():
    """28 to 32 of 200 are all told as 30: the share beside must not say which."""
    told = [rounded_counts({"outcome": outcome(n / 200, 200)}, 5)["outcome"] for n in range(28, 33)]
    for one in told:  # in steps of 5 / 200; the limits 0.031 away are told two steps away, not one or two
        assert one.select("value", "low", "high").row(0) == pytest.approx((0.15, 0.1, 0.2))


def test_a_mean_beside_a_rounded_count_stays():
    rows = outcome(-0.6119, 203, "mean_change", "kg")
    assert rounded_counts({"outcome": rows}, 5)["outcome"].select("value", "low", "n").row(0) == pytest.approx(
        (-0.6119, -0.6429, 205)
    )


def test_a_ratio_times_those_expected_does_not_give_the_count_back():
    def compared(n: int) -> pl.DataFrame:
        return pl.DataFrame(
            {"band": ["obesity_1"], "n": [n], "denominator": [300], "value": [n / 300], "low": [0.2], "high": [0.4],
             "expected": [80.0], "ratio": [n / 80], "ratio_low": [n / 80 - 0.2], "ratio_high": [n / 80 + 0.2],
             "score": [(n - 80) / (80 * (1 - 80 / 300)) ** 0.5], "shrunken": [0.3], "shrunken_low": [0.25],
             "shrunken_high": [0.35]}
        )  # fmt: skip

    told = [rounded_counts({"site_comparison": compared(n)}, 5)["site_comparison"] for n in (88, 89, 90, 91, 92)]
    for figure in ("n", "value", "ratio", "ratio_low", "ratio_high", "score"):
        assert len({round(one[figure].item(), 9) for one in told}) == 1, figure


def test_without_rounding_shares_stay_as_they_are():
    tables = {"outcome": outcome(0.153, 200)}
    assert rounded_counts(tables, None)["outcome"].equals(tables["outcome"])
