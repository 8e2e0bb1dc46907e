"""Each way to work out a withheld count by subtraction is planted once, and found; the mended release is sound.

All people are invented. The rule: values at least min(group, m / 2) apart, m = 10.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from invented_counts import AGES, at, percentile, prevalence, quality, withheld

from pipeline.audit import audit_tables
from pipeline.programme import Disclosure

RULES = Disclosure()
SMALL = {"site": "site-0", "sex": "female", "age_from": 20, "age_to": 29, "band": "under"}


def found(truth, published, **more) -> list[tuple]:
    breaches = audit_tables(truth, published, RULES, **more).breaches
    return breaches.select("family", "band", "site", "sex", "age_from", "age_to", "verdict").rows()


def of_small(verdict: str) -> list[tuple]:
    return [("body_fat", "under", "site-0", "female", 20, 29, verdict)]


def roomy(sites: int = 4, ages: int = 2) -> np.ndarray:
    """Thirty people in every band, but three in one."""
    people = np.full((sites, 2, ages, 4), 30)
    people[0, 0, 0] = [3, 25, 30, 40]
    return people


def square(
    sites=("site-0", "site-1"),
    sexes=("female", "male"),
    spans=((20, 29), (30, 39)),
    bands=("under", "healthy"),
):
    """The rows of a block that stands open in every direction: two each of sites, sexes, ages and bands."""
    low = [a for a, _ in spans]
    return (
        pl.col("site").is_in(sites) & pl.col("sex").is_in(sexes) & pl.col("age_from").is_in(low)
        & (pl.col("age_to") - pl.col("age_from") == 9) & pl.col("band").is_in(bands)
    )  # fmt: skip


def test_a_block_withheld_in_every_direction_is_sound():
    truth = {"prevalence": prevalence(roomy())}
    audit = audit_tables(truth, {"prevalence": withheld(truth["prevalence"], square())}, RULES)
    assert audit.is_sound
    assert audit.cells.select("n", "verdict").rows() == [(3, "example")]
    low, high = audit.cells.select("low", "high").row(0)
    assert low <= 3 <= high and high - low >= 5


def test_nothing_withheld_at_all_shows_the_small_count_as_it_stands():
    truth = {"prevalence": prevalence(roomy())}
    assert found(truth, truth) == of_small("shown")


@pytest.mark.parametrize(
    ("direction", "block"),
    [
        ("between bands", square(bands=("under",))),
        ("between one site and all sites", square(sites=("site-0",))),
        ("between one sex and both", square(sexes=("female",))),
        ("between age groups and their total", square(spans=((20, 29),))),
    ],
)
def test_a_block_that_is_closed_in_one_direction_gives_the_count_away_by_one_subtraction(direction, block):
    truth = {"prevalence": prevalence(roomy())}
    audit = audit_tables(truth, {"prevalence": withheld(truth["prevalence"], block)}, RULES)
    assert audit.breaches.select("n", "low", "high", "verdict").rows() == [(3, 3.0, 3.0, "narrow")], direction


def test_a_count_is_found_between_overlapping_ages():
    """20 to 49 less 30 to 49: no row shows 20 to 29, and two wide groups give it."""
    people = roomy(ages=3)
    rows = prevalence(people)
    wide = prevalence(people[:, :, 1:], ages=AGES[1:]).filter(
        (pl.col("age_from") == 30) & (pl.col("age_to") == 49)
    )
    truth = {"prevalence": pl.concat([rows, wide])}
    spans = ((20, 29), (30, 39))
    without = withheld(rows, square(spans=spans))
    assert audit_tables({"prevalence": rows}, {"prevalence": without}, RULES).is_sound
    assert found(truth, {"prevalence": pl.concat([without, wide])}) == of_small("narrow")


def test_a_sum_of_several_sums_is_found_where_no_single_one_tells():
    """Three sites by three bands, one withheld in each row and column but one: round the corner it follows."""
    people = np.full((3, 2, 1, 4), 30)
    people[0, 0, 0, 0] = 4
    truth = {"prevalence": prevalence(people)}
    cells = [
        ("site-0", "under"),
        ("site-0", "healthy"),
        ("site-1", "healthy"),
        ("site-1", "over"),
        ("site-2", "over"),
    ]
    where = (pl.col("sex") != "all") & pl.any_horizontal(
        (pl.col("site") == site) & (pl.col("band") == band) for site, band in cells
    )
    assert found(truth, {"prevalence": withheld(truth["prevalence"], where)}) == of_small("narrow")
    ring = where | ((pl.col("sex") != "all") & (pl.col("site") == "site-2") & (pl.col("band") == "under"))
    assert audit_tables(truth, {"prevalence": withheld(truth["prevalence"], ring)}, RULES).is_sound


@pytest.mark.parametrize("figure", ["proportion", "low", "high"])
def test_a_figure_beside_an_empty_count_gives_it_back(figure):
    truth = {"prevalence": prevalence(roomy())}
    kept = tuple(name for name in ("n", "denominator", "proportion", "low", "high") if name != figure)
    small = at(**SMALL)
    shown = withheld(withheld(truth["prevalence"], square() & ~small), small, kept)
    assert found(truth, {"prevalence": shown}) == of_small("figure")


def test_another_banding_of_the_same_scale_tells_the_piece_between_two_cuts():
    """18.5 to 25 less 18.5 to 23 is 23 to 25, whose four people no table shows."""
    bmi = np.full((3, 2, 1, 6), 60)
    asian = np.full((3, 2, 1, 4), 0)
    asian[..., 0] = bmi[..., 0]  # underweight is one band in both
    asian[..., 1], asian[..., 2], asian[..., 3] = 40, 20 + 30, 30 + 180
    asian[0, 0, 0] = [60, 56, 4 + 30, 30 + 180]
    whole, other = prevalence(bmi, "bmi_adult"), prevalence(asian, "bmi_adult_asian")
    both = {"prevalence": pl.concat([whole, other])}
    assert audit_tables({"prevalence": whole}, {"prevalence": whole}, RULES).is_sound
    assert audit_tables({"prevalence": other}, {"prevalence": other}, RULES).is_sound
    assert found(both, both) == [("bmi_adult", "between 23 and 25", "site-0", "female", 20, 29, "narrow")]


def test_two_measures_beside_each_other_tell_of_the_one_site_that_lacks_one_of_them():
    """Everybody less those with body fat: the people of the only site whose analyser prints none."""
    people = np.full((4, 2, 1, 4), 30)
    people[0, 0, 0] = [1, 1, 2, 3]
    fat = people.copy()
    fat[0] = 0
    truth = {"percentile": pl.concat([percentile(people), percentile(fat, "body_fat_percent")])}
    pair = pl.col("site").is_in(["site-0", "site-1"]) & (pl.col("sex") != "all")
    of_weight = withheld(percentile(people), pair)
    assert audit_tables({"percentile": percentile(people)}, {"percentile": of_weight}, RULES).is_sound
    of_fat = withheld(percentile(fat, "body_fat_percent"), pair)
    shown = {"percentile": pl.concat([of_weight, of_fat])}
    assert found(truth, shown) == [("weight", "", "site-0", "female", 20, 29, "narrow")]


def test_a_row_that_is_there_says_that_somebody_is_and_one_that_is_missing_that_nobody_is():
    """One site with a row, of two that are withheld in the others' place: the rest of the sum is its."""
    people = np.full((3, 2, 1, 4), 30)
    people[0, 0, 0], people[1, 0, 0] = [1, 1, 2, 3], 0
    truth = {"prevalence": prevalence(people)}
    gone = pl.col("site").is_in(["site-0", "site-1"]) & pl.col("sex").is_in(["female", "male"])
    hidden = withheld(truth["prevalence"], gone)
    named = {
        (family, sex) for family, _, _, sex, _, _, verdict in found(truth, {"prevalence": hidden}) if verdict
    }
    assert ("body_fat", "female") in named  # site-1 has no row: its people are none, so site-0's are the rest
    left_out = hidden.filter(~(pl.col("site").is_in(["site-0", "site-1"]) & (pl.col("sex") == "female")))
    people[1, 0, 0] = [9, 9, 9, 9]
    both = {"prevalence": prevalence(people)}
    left_out = withheld(both["prevalence"], gone).filter(~(gone & (pl.col("sex") == "female")))
    assert audit_tables(both, {"prevalence": left_out}, RULES).is_sound


def test_a_trend_tells_the_period_that_a_table_withholds():
    first, second = np.full((2, 2, 1, 4), 30), np.full((2, 2, 1, 4), 30)
    first[:, 0, 0, 0] = [2, 3]
    rows = pl.concat([prevalence(first), prevalence(second, period="2025Q2")])
    women = rows.filter(at(site=None, sex="female", band="under"))
    trend = pl.DataFrame(
        [("body_fat", "under", "female", 20, 29, "2025Q1", "2025Q2", 2, int(women["n"].sum()),
          int(women["denominator"].sum()))],
        schema={"banding": pl.String, "band": pl.String, "sex": pl.String, "age_from": pl.Int64, "age_to": pl.Int64,
                "period_from": pl.String, "period_to": pl.String, "periods": pl.Int64, "n": pl.Int64,
                "denominator": pl.Int64},
        orient="row",
    )  # fmt: skip
    hidden = withheld(
        rows, at(period="2025Q1") & (pl.col("sex") != "all") & pl.col("band").is_in(["under", "healthy"])
    )
    truth = {"prevalence": rows, "trend": trend}
    kept_back = trend.with_columns(n=None, denominator=None)
    assert audit_tables(truth, {"prevalence": hidden, "trend": kept_back}, RULES).is_sound
    shown = found(truth, {"prevalence": hidden, "trend": trend})
    assert ("body_fat", "under", "", "female", 20, 29, "narrow") in shown


def test_percentiles_tell_of_bands():
    """Four people of 40 over level 12: an 89th percentile of 12 leaves 5 at most, a 92nd of 13 leaves 3 at least."""
    people = np.full((2, 2, 1, 2), 40)
    people[0, 0, 0] = [36, 4]
    rows = prevalence(people, "visceral_fat")
    gone = pl.col("sex").is_in(["female", "male"])
    hidden = withheld(rows, gone)
    truth = {"prevalence": rows, "percentile": percentile(people, "visceral_fat_level")}
    medians = truth["percentile"].with_columns(value=pl.lit(9.0))
    evidence = ("percentile",)
    only_medians = {"prevalence": hidden, "percentile": medians}
    assert audit_tables(truth, only_medians, RULES, evidence=evidence).is_sound
    tail = at(site="site-0", sex="female")
    near = pl.concat(
        [medians.filter(tail).with_columns(percentile=pl.lit(p, dtype=pl.Int64), value=pl.lit(v)) for p, v in
         ((89, 12.0), (92, 13.0))]
    )  # fmt: skip
    shown = {"prevalence": hidden, "percentile": pl.concat([medians, near])}
    assert ("visceral_fat", "excess", "site-0", "female", 20, 29, "narrow") in found(
        truth, shown, evidence=evidence
    )


def test_rows_must_not_follow_exactly_and_may_be_narrowed():
    accounts = [
        (None, None, "rows_read", "count", 250, 250), (None, None, "rows_accepted", "count", 240, 250),
        (None, None, "rows_held", "count", 10, 250), (None, None, "rows_duplicate", "count", 0, 250),
        (None, None, "rows_superseded", "count", 0, 250),
        ("a", None, "rows_read", "count", 100, 100), ("a", None, "rows_accepted", "count", 97, 100),
        ("a", None, "rows_held", "count", 3, 100), ("a", None, "rows_duplicate", "count", 0, 100),
        ("a", None, "rows_superseded", "count", 0, 100),
        ("b", None, "rows_read", "count", 150, 150), ("b", None, "rows_accepted", "count", 143, 150),
        ("b", None, "rows_held", "count", 7, 150), ("b", None, "rows_duplicate", "count", 0, 150),
        ("b", None, "rows_superseded", "count", 0, 150),
    ]  # fmt: skip
    truth = {"data_quality": quality(accounts)}
    held = (pl.col("item") == "rows_held") & pl.col("site").is_not_null()
    one = withheld(truth["data_quality"], held)
    assert found(truth, {"data_quality": one}) == [
        ("rows_held", "n", "a", "", 0, 0, "narrow"), ("rows_held", "n", "b", "", 0, 0, "narrow")
    ]  # fmt: skip
    both = withheld(
        truth["data_quality"], held | ((pl.col("item") == "rows_accepted") & pl.col("site").is_not_null())
    )
    assert audit_tables(truth, {"data_quality": both}, RULES).is_sound


def test_a_share_beside_withheld_rows_and_a_total_elsewhere_are_seen():
    accounts = [
        (site, "2025Q1", *item)
        for site in ("a", None)
        for item in (("readings", "count", 95, 100), ("weight_jump", "set_aside", 5, 100))
    ]
    truth = {"data_quality": quality(accounts)}
    is_reason = pl.col("item") == "weight_jump"
    share_left = withheld(truth["data_quality"], is_reason, ("n", "denominator"))
    verdicts = {row[-1] for row in found(truth, {"data_quality": share_left})}
    assert verdicts == {"shown", "narrow"}


def test_a_published_count_that_is_not_the_true_one_is_refused():
    truth = {"prevalence": prevalence(roomy())}
    wrong = {"prevalence": truth["prevalence"].with_columns(n=pl.col("n") + 1)}
    with pytest.raises(ValueError, match="a published count is not the true one"):
        audit_tables(truth, wrong, RULES)


def test_results_that_do_not_add_up_are_refused():
    truth = {"prevalence": prevalence(roomy()).with_columns(n=pl.when(at(**SMALL)).then(5).otherwise("n"))}
    with pytest.raises(ValueError, match="the results do not add up"):
        audit_tables(truth, {"prevalence": withheld(truth["prevalence"], square())}, RULES)


def test_what_nobody_looked_at_is_not_taken_as_sound():
    truth = {"prevalence": prevalence(roomy())}
    shown = {
        "prevalence": withheld(truth["prevalence"], square(bands=("under", "healthy")) & at(site="site-0"))
    }
    early = audit_tables(truth, shown, RULES, most_breaches=0)
    assert not early.is_sound and set(early.breaches["verdict"]) <= {"unproven", "narrow"}


def test_rounded_counts_are_taken_as_exact_and_one_that_is_too_far_off_is_refused():
    truth = {"prevalence": prevalence(roomy())}
    rules = Disclosure(rounding=5)
    near = truth["prevalence"].with_columns(((pl.col(name) + 2) // 5 * 5) for name in ("n", "denominator"))
    assert audit_tables(truth, {"prevalence": withheld(near, square())}, rules).is_sound
    assert not audit_tables(truth, {"prevalence": withheld(near, square(bands=("under",)))}, rules).is_sound
    with pytest.raises(ValueError, match="not the true one"):
        audit_tables(truth, {"prevalence": near.with_columns(n=pl.col("n") + 5)}, rules)
