"""Tables worked out of counts: what goes with a withheld count, and what the rest no longer gives back."""

import numpy as np
import polars as pl
import pytest
from invented_tables import prevalence_of

from pipeline.disclosure import protect
from pipeline.programme import Disclosure

RULES = Disclosure()  # 10 people; 30 for a percentile
SITE = "site-0"  # whose oldest women have a small count
CELL = ["banding", "band", "population", "site", "period", "sex", "age_from", "age_to"]


def people(small: int = 40) -> np.ndarray:
    """(3 sites, 2 sexes, 3 age groups, 4 bands) of counts, one of them as given."""
    made = np.full((3, 2, 3, 4), 40)
    made[0, 0, 2, 3] = small
    return made


def standardised(prevalence: pl.DataFrame, person_weight: float = 0.0004) -> pl.DataFrame:
    totals = prevalence.filter((pl.col("age_from") == 20) & (pl.col("age_to") == 49))
    return totals.select(
        *CELL, standard=pl.lit("who-world"), n="n", denominator="denominator", proportion=pl.lit(0.23456),
        low=pl.lit(0.21321), high=pl.lit(0.25678), method=pl.lit("direct"), flag=pl.lit(None, dtype=pl.String),
        person_weight=pl.lit(person_weight),
    )  # fmt: skip


def shown(small: int, person_weight: float = 0.0004) -> pl.DataFrame:
    prevalence = prevalence_of(people(small))
    tables = {"standardised_prevalence": standardised(prevalence, person_weight), "prevalence": prevalence}
    protected = protect(tables, RULES)
    assert list(protected) == list(tables)
    return protected["standardised_prevalence"]


def row(table, site=None, sex="all", band="obese"):
    of_site = pl.col("site").is_null() if site is None else pl.col("site") == site
    return table.row(by_predicate=of_site & (pl.col("sex") == sex) & (pl.col("band") == band), named=True)


def test_where_every_stratum_is_published_the_figure_stands_and_limits_go_outward_to_a_person():
    whole = row(shown(40))
    assert (whole["proportion"], whole["flag"]) == (0.23456, None)
    assert (whole["low"], whole["high"]) == pytest.approx(
        (0.213, 0.257)
    )  # 1 of 2880 people: a step of 0.0005


def test_where_a_stratum_is_withheld_five_people_may_be_moved_either_way():
    table = shown(4)
    assert row(table)["proportion"] == 0.23456  # all sites together: every stratum is published
    found = row(table, SITE)
    assert found["proportion"] == pytest.approx(0.235)  # 0.002 off either end of 0.2325 to 0.2375
    assert (found["low"], found["high"]) == pytest.approx((0.21, 0.26))
    assert found["n"] is not None


def test_where_five_people_could_not_move_either_way_within_the_step_the_figure_is_withheld():
    # 0.23456 is told as 0.25 to a step of 0.05, which is all from 0.225 to 0.275: 0.00956 off the nearer end
    for weight, flag in ((0.00191, None), (0.00192, "withheld")):
        assert row(shown(4, weight), SITE)["flag"] == flag
    assert row(shown(4, 0.00191), SITE)["proportion"] == pytest.approx(0.25)
    assert row(shown(40, 0.02), SITE)["flag"] is None


def test_a_standardised_figure_goes_with_its_crude_one():
    prevalence = prevalence_of(people(40)[:, :, :, :] // np.array([1, 1, 1, 40]))
    tables = {"prevalence": prevalence, "standardised_prevalence": standardised(prevalence)}
    protected = protect(tables, RULES)
    gone = protected["prevalence"].filter(
        (pl.col("age_to") == 49) & (pl.col("age_from") == 20) & pl.col("n").is_null()
    )
    assert gone.height
    found = protected["standardised_prevalence"].join(gone.select(CELL), on=CELL, nulls_equal=True)
    assert set(found["flag"]) == {"withheld"}
    assert (
        found.select("n", "denominator", "proportion", "low", "high").null_count().row(0)
        == (found.height,) * 5
    )


def trend_of(prevalence: pl.DataFrame) -> pl.DataFrame:
    whole = prevalence.filter(
        (pl.col("population") == "all") & (pl.col("age_from") == 20) & (pl.col("age_to") == 49)
    )
    keys = ["banding", "band", "sex", "age_from", "age_to"]
    return whole.group_by(keys, maintain_order=True).agg(
        pl.col("n", "denominator").sum(), periods=pl.col("period").n_unique()
    ).with_columns(
        period_from=pl.lit("2025Q1"), period_to=pl.lit("2025Q2"), odds_ratio=pl.lit(1.02345), low=pl.lit(0.98765),
        high=pl.lit(1.06789), points_a_period=pl.lit(0.0045678), p=pl.lit(0.23456), method=pl.lit("logistic"),
        flag=pl.lit(None, dtype=pl.String),
    )  # fmt: skip


def test_a_trend_goes_with_any_of_its_periods_and_keeps_no_more_digits_than_a_person_is_worth():
    full, thin = people(), people()
    thin[:, :, :, 3] = 0
    thin[0, 0, 0, 3] = 4  # four people in the band in the second period
    prevalence = pl.concat([prevalence_of(full), prevalence_of(thin, period="2025Q2")])
    protected = protect({"prevalence": prevalence, "trend": trend_of(prevalence)}, RULES)["trend"]
    assert row_of_trend(protected, "obese")["flag"] == "withheld"
    assert row_of_trend(protected, "obese")["n"] is None
    kept = protected.filter((pl.col("sex") == "all") & pl.col("n").is_not_null()).row(0, named=True)
    # 1440 of 5044 people: n·p·q is 1029, and 6 / (1029 · 3) = 0.0019 → a step of 0.002
    assert (kept["n"], kept["denominator"]) == (1440, 5044)
    assert (kept["odds_ratio"], kept["low"], kept["high"]) == pytest.approx((1.024, 0.986, 1.068))
    assert (kept["points_a_period"], kept["p"]) == pytest.approx((0.0046, 0.23))


def row_of_trend(table, band):
    return table.row(by_predicate=(pl.col("sex") == "all") & (pl.col("band") == band), named=True)


def test_a_sum_over_periods_that_are_not_the_published_ones_is_withheld():
    prevalence = pl.concat([prevalence_of(people()), prevalence_of(people(), period="2025Q2")])
    trend = trend_of(prevalence).with_columns(pl.col("n") + 1)
    assert set(protect({"prevalence": prevalence, "trend": trend}, RULES)["trend"]["flag"]) == {"withheld"}


def position(n: int, denominator: int = 200) -> dict:
    percentile = pl.DataFrame(
        [("bmi_z", "1", None, "2025Q1", "all", 5, 19, 50, 0.1, 0.0, 0.2, 200, "type 7", None)], orient="row",
        schema={"measure": pl.String, "unit": pl.String, "site": pl.String, "period": pl.String, "sex": pl.String,
                "age_from": pl.Int64, "age_to": pl.Int64, "percentile": pl.Int64, "value": pl.Float64,
                "low": pl.Float64, "high": pl.Float64, "n": pl.Int64, "method": pl.String, "flag": pl.String},
    )  # fmt: skip
    table = pl.DataFrame(
        {
            "period": ["2025Q1"], "sex": ["all"], "age_from": [5], "age_to": [19], "percentile": [85], "n": [n],
            "denominator": [denominator], "proportion": [n / denominator], "low": [n / denominator - 0.03],
            "high": [n / denominator + 0.03], "expected": [0.85], "method": ["WHO"], "flag": [None],
        },
        schema_overrides={"flag": pl.String},
    )  # fmt: skip
    return protect({"percentile": percentile, "who_position": table}, RULES)["who_position"].row(
        0, named=True
    )


def test_people_below_a_centile_are_told_in_tens():
    found = position(157)
    assert (found["n"], found["denominator"], found["proportion"]) == (160, 200, 0.8)
    assert (found["low"], found["high"]) == pytest.approx((0.75, 0.85))  # 0.755 and 0.815 outward by 0.05
    assert all(position(n)["n"] == 160 for n in range(155, 165))


@pytest.mark.parametrize(
    ("n", "flag"), [(9, "withheld"), (10, None), (190, None), (191, "withheld"), (0, "withheld")]
)
def test_a_few_people_on_either_side_of_a_centile_are_withheld(n, flag):
    assert position(n)["flag"] == flag


def test_a_group_whose_people_no_percentile_shows_is_withheld():
    assert position(150, 201)["flag"] == "withheld"


def test_without_the_table_it_stands_on_everything_is_withheld():
    prevalence = prevalence_of(people())
    found = protect({"standardised_prevalence": standardised(prevalence)}, RULES)["standardised_prevalence"]
    assert set(found["flag"]) == {"withheld"}
