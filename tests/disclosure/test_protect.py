"""Mechanics on invented rows: what is withheld, and that nothing published gives it back by one subtraction."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from invented_tables import data_quality_of, percentile_of, prevalence_of

from pipeline.disclosure import protect
from pipeline.programme import Disclosure

RULES = Disclosure()  # 10 people; 30 for a percentile
FIGURES = ["n", "denominator", "proportion", "low", "high"]


def one_group(*bands: int, banding: str = "body_fat") -> pl.DataFrame:
    """One site, one sex, one age group: nothing but the bands adds up."""
    rows = prevalence_of(np.array(bands).reshape(1, 1, 1, -1).repeat(2, axis=1), banding)
    return rows.filter((pl.col("sex") == "female") & (pl.col("population") == "all"))


def published(rows: pl.DataFrame) -> dict[str, int | None]:
    protected = protect({"prevalence": rows}, RULES)["prevalence"]
    return dict(zip(protected["band"], protected["n"], strict=True))


def test_a_group_of_nine_is_withheld_whole_zeros_and_all_and_one_of_ten_is_not():
    assert set(published(one_group(0, 9, 0, 0)).values()) == {None}
    of_ten = protect({"prevalence": one_group(0, 10, 0, 0)}, RULES)["prevalence"]
    assert of_ten["denominator"].drop_nulls().to_list() == [10, 10]


@pytest.mark.parametrize(
    ("bands", "withheld"),
    [
        ((0, 40, 30, 20), set()),  # an empty band is published
        ((10, 40, 30, 20), set()),
        ((9, 40, 30, 20), {"under", "obese"}),  # nine, and the least that mends it
        ((9, 1, 30, 20), {"under", "healthy"}),  # 9 + 1 = 10: they protect each other
        ((4, 5, 30, 20), {"under", "healthy", "obese"}),  # 4 + 5 = 9 is itself a small count
        ((0, 0, 41, 9), {"over", "obese"}),  # 41 of 50: nine people are outside it
        ((0, 0, 40, 10), set()),
    ],
)
def test_small_counts_go_with_the_least_that_mends_their_group(bands, withheld):
    found = published(one_group(*bands))
    assert {band for band, n in found.items() if n is None} == withheld
    assert [n for n in found.values() if n is not None] == [
        n for band, n in zip(found, bands, strict=True) if band not in withheld
    ]


def test_a_band_that_holds_everybody_is_withheld_with_an_empty_one():
    found = published(one_group(0, 60, 0, 0))
    assert found["healthy"] is None
    assert sum(n is None for n in found.values()) == 2


def test_a_band_of_two_takes_the_other_along():
    assert published(one_group(5, 95, banding="visceral_fat")) == {"usual": None, "excess": None}


def test_withheld_rows_lose_every_figure_and_carry_one_flag_and_the_others_keep_theirs():
    rows = one_group(9, 40, 30, 20).with_columns(
        flag=pl.when(pl.col("band") == "over").then(pl.lit("unreliable")).otherwise(None)
    )
    protected = protect({"prevalence": rows}, RULES)["prevalence"]
    gone = protected.filter(pl.col("flag") == "withheld")
    assert gone["band"].to_list() == ["under", "obese"]
    assert all(gone[name].null_count() == 2 for name in FIGURES)
    assert protected.filter(pl.col("band") == "over")["flag"].to_list() == ["unreliable"]
    kept = pl.col("band").is_in(["healthy", "over"])
    assert protected.filter(kept).equals(rows.filter(kept))
    assert protected.drop(*FIGURES, "flag").equals(rows.drop(*FIGURES, "flag"))


def test_one_small_sex_takes_the_other_along_so_that_all_can_stay():
    people = np.zeros((1, 2, 1, 4), int)
    people[0, 0, 0] = [0, 4, 0, 0]
    people[0, 1, 0] = [10, 40, 30, 20]
    protected = protect({"prevalence": prevalence_of(people)}, RULES)["prevalence"].filter(population="all")
    assert protected.filter(pl.col("sex") != "all")["n"].null_count() == 8
    assert protected.filter(pl.col("sex") == "all")["n"].to_list() == [10, 44, 30, 20]


def test_one_small_site_takes_the_next_smallest_along_not_all_sites():
    people = np.zeros((4, 2, 1, 4), int)
    people[:, :, 0] = np.array([1, 50, 15, 30])[:, None, None]
    protected = protect({"prevalence": prevalence_of(people)}, RULES)["prevalence"]
    shown = protected.filter(pl.col("n").is_not_null())
    assert set(shown.filter(sex="all")["site"]) == {None, "site-1", "site-3"}
    assert set(protected["site"]) == {None, "site-1", "site-3"}  # rows that show nothing are not there


def test_all_sites_and_both_sexes_of_all_adults_are_withheld_after_everything_else():
    """Few people at two sites: bounds must be widened, and the tightest sum has the headline as its only known cell."""
    people = np.array([[[[2, 0], [0, 3]], [[1, 0], [12, 0]]], [[[0, 5], [0, 7]], [[0, 0], [0, 4]]]])
    found = protect({"prevalence": prevalence_of(people, "visceral_fat")}, RULES)["prevalence"]
    headline = found.filter(population="all", sex="all", age_from=20, age_to=39)
    assert headline["n"].to_list() == [15, 19]


def test_people_in_percentiles_do_not_give_back_a_withheld_group():
    people = np.full((3, 2, 2, 4), 30)
    people[0, 0, 0] = [0, 5, 0, 0]
    tables = protect({"prevalence": prevalence_of(people), "percentile": percentile_of(people)}, RULES)
    group = ["site", "sex", "age_from", "age_to"]
    told = tables["prevalence"].filter(pl.col("denominator").is_not_null()).select(group).unique()
    every = prevalence_of(people).select(group).unique()
    shown = tables["percentile"].filter(pl.col("n").is_not_null()).select(group).unique()
    assert told.height <= every.height - 4
    assert shown.join(told, on=group, how="anti", nulls_equal=True).is_empty()


def test_people_in_data_quality_do_not_give_back_a_withheld_group():
    people = np.full((3, 2, 1, 4), 30)
    people[0] = 1
    ages = {"age_from": pl.lit(5, pl.Int64), "age_to": pl.lit(99, pl.Int64)}
    percentile = percentile_of(people).with_columns(**ages)
    quality = data_quality_of(
        [
            *(
                (f"site-{i}", "2025Q1", "people", "count", int(people[i].sum()), int(people[i].sum()))
                for i in range(3)
            ),
            (None, "2025Q1", "people", "count", int(people.sum()), int(people.sum())),
        ]
    )
    tables = protect({"percentile": percentile, "data_quality": quality}, RULES)
    shown = dict(zip(tables["data_quality"]["site"], tables["data_quality"]["n"], strict=True))
    assert (shown["site-0"], shown[None]) == (None, 488)
    assert {shown["site-1"], shown["site-2"]} == {None, 240}  # one of the two, which are as many


def test_adults_among_everybody_and_adults_are_one_count():
    """Adults' BMI from 20 to 99 and from 5 to 99 are the same people, so both are withheld or neither."""
    rows = one_group(3, 50, 30, 5, 12, 0, banding="bmi_adult").with_columns(
        age_from=pl.lit(20, pl.Int64), age_to=pl.lit(99, pl.Int64)
    )
    twice = pl.concat([rows, rows.with_columns(age_from=pl.lit(5, pl.Int64))])
    protected = protect({"prevalence": twice}, RULES)["prevalence"]
    assert protected["n"].to_list()[:6] == protected["n"].to_list()[6:]
    assert protected["n"].null_count() > 0


def test_two_bandings_do_not_tell_how_few_lie_between_their_edges():
    who = one_group(20, 100, 60, 20, 20, 20, banding="bmi_adult")
    asian = one_group(20, 97, 43, 80, banding="bmi_adult_asian")  # 3 between 23 and 25
    tables = protect({"prevalence": pl.concat([who, asian])}, RULES)["prevalence"]
    shown = {(row["banding"], row["band"]): row["n"] for row in tables.iter_rows(named=True)}
    assert shown["bmi_adult", "normal"] is None or shown["bmi_adult_asian", "acceptable_risk"] is None


def test_row_totals_do_not_give_back_a_small_number_of_held_rows_and_files_stay_open():
    quality = data_quality_of(
        [
            ("quay", None, "rows_read", "count", 1000, 1000),
            ("quay", None, "rows_accepted", "count", 993, 1000),
            ("quay", None, "rows_held", "count", 7, 1000),
            ("quay", None, "rows_duplicate", "count", 0, 1000),
            ("quay", None, "rows_superseded", "count", 0, 1000),
            ("quay", None, "files_held", "count", 1, 4),
            ("quay", None, "weight_range", "hold", 7, 1000),
        ]
    )
    found = protect({"data_quality": quality}, RULES)["data_quality"]
    shown = dict(zip(found["item"], found["n"], strict=True))
    assert shown == {
        "rows_read": 1000,
        "rows_accepted": 993,
        "rows_held": None,
        "rows_duplicate": None,
        "rows_superseded": 0,
        "files_held": 1,
        "weight_range": None,
    }


def test_readings_do_not_give_back_the_few_that_were_set_aside():
    quality = data_quality_of(
        [
            ("quay", "2025Q1", "readings", "count", 97, 100),
            ("quay", "2025Q1", "height_changed", "set_aside", 3, 100),
        ]
    )
    found = protect({"data_quality": quality}, RULES)["data_quality"]
    assert found["n"].to_list() == [None, None]


def counting_readings(*rows: tuple) -> dict[tuple[str | None, str], int | None]:
    found = protect({"data_quality": data_quality_of(list(rows))}, RULES)["data_quality"]
    return {(site, item): n for site, item, n in found.select("site", "item", "n").rows()}


def test_readings_do_not_give_back_the_one_set_aside_where_others_carry_remarks():
    """1104 accepted less 1103 that count is the one withheld; the seven remarked on are among those that count."""
    found = counting_readings(
        (None, "2025Q1", "readings", "count", 1103, 1104),
        (None, "2025Q1", "sex_changes", "set_aside", 1, 1104),
        (None, "2025Q1", "clothing_weight_not_set", "flag", 12, 1104),
        (None, "2025Q1", "people", "count", 980, 980),
    )
    assert {item for (_, item), n in found.items() if n is None} == {"readings", "sex_changes"}


def test_readings_do_not_give_back_how_few_were_set_aside_for_several_reasons_at_once():
    """Three readings, of which one has two reasons: the reasons do not add up, and the three are not told either."""
    found = counting_readings(
        ("quay", "2025Q1", "readings", "count", 97, 100),
        ("quay", "2025Q1", "height_changed", "set_aside", 2, 100),
        ("quay", "2025Q1", "weight_jump", "set_aside", 2, 100),
    )
    assert set(found.values()) == {None}


def test_other_sites_do_not_give_back_the_few_that_one_site_set_aside():
    sites = {"quay": (97, 100), "beacon": (480, 500), "lantern": (285, 300)}
    found = counting_readings(
        *((site, "2025Q1", "readings", "count", *n) for site, n in sites.items()),
        (None, "2025Q1", "readings", "count", 862, 900),
    )
    assert {site for (site, _), n in found.items() if n is None} == {"quay", "lantern"}


def test_readings_that_all_count_and_many_set_aside_are_published():
    found = counting_readings(
        ("quay", "2025Q1", "readings", "count", 100, 100),
        ("quay", "2025Q2", "readings", "count", 90, 100),
        ("quay", "2025Q2", "height_changed", "set_aside", 10, 100),
    )
    assert None not in found.values()


def test_a_total_under_the_minimum_is_withheld():
    total = pl.DataFrame({"item": ["files", "people", "readings"], "n": [2, 9, 10]})
    assert protect({"total": total}, RULES)["total"]["n"].to_list() == [2, None, 10]


def test_a_table_without_a_rule_is_refused():
    with pytest.raises(ValueError, match="no disclosure rule for table weather"):
        protect({"weather": pl.DataFrame({"n": [1]})}, RULES)


def test_a_count_that_is_missing_or_passes_its_group_is_refused():
    rows = one_group(9, 40, 30, 20)
    with pytest.raises(ValueError, match="needs the unsuppressed results"):
        protect({"prevalence": rows.with_columns(n=pl.lit(None, pl.Int64))}, RULES)
    with pytest.raises(ValueError, match="more people in the band than in the group"):
        protect({"prevalence": rows.with_columns(n=pl.lit(100, pl.Int64))}, RULES)


def test_counts_that_do_not_add_up_are_refused_and_not_withheld_in_silence():
    rows = one_group(9, 40, 30, 20)
    with pytest.raises(ValueError, match=r"do not add up, over bands, in .*one set of tallies") as fault:
        protect({"prevalence": rows.with_columns(denominator=pl.lit(100, pl.Int64))}, RULES)
    assert "100" not in str(fault.value)  # no count in a message


def test_an_empty_release_passes():
    rows = one_group(9, 40, 30, 20).clear()
    assert protect({"prevalence": rows}, RULES)["prevalence"].equals(rows)


people_arrays = arrays(np.int64, (3, 2, 2, 4), elements=st.sampled_from([0, 0, 1, 2, 5, 9, 10, 14, 30, 80]))


@pytest.mark.parametrize("is_proved", [True, False])
@settings(max_examples=60, deadline=None)
@given(people=people_arrays)
def test_no_withheld_figure_follows_from_one_published_sum(is_proved, people):
    """Every published sum is tried here by hand, without the pipeline's list of equations."""
    rows = prevalence_of(people)
    if rows.is_empty():
        return
    shown = protect({"prevalence": rows}, RULES, is_proved=is_proved)["prevalence"]
    key = ["band", "site", "sex", "age_from", "age_to"]
    frame = rows.select(*key, "period", "population", truth="n").join(
        shown.select(*key, "n", "denominator"), on=key, how="left", nulls_equal=True
    )
    frame = frame.with_columns(is_age_total=pl.col("age_to") - pl.col("age_from") > 9)
    assert (
        frame.filter(pl.col("truth").is_between(1, 9))["n"].null_count()
        == frame.filter(pl.col("truth").is_between(1, 9)).height
    )
    for along, is_total in (
        (["sex"], pl.col("sex") == "all"),
        (["site", "population"], pl.col("population") == "all"),
        (["age_from", "age_to", "is_age_total"], pl.col("is_age_total")),
    ):
        key = [
            c for c in ("band", "population", "site", "period", "sex", "age_from", "age_to") if c not in along
        ]
        sums = frame.group_by(key).agg(
            unknown=pl.col("n").null_count(),
            parts_gone=((~is_total) & pl.col("n").is_null()).sum(),
            left=pl.col("truth").filter((~is_total) & pl.col("n").is_null()).sum(),
            total_shown=(is_total & pl.col("n").is_not_null()).any(),
        )
        assert sums.filter(pl.col("unknown") == 1).is_empty()
        by_subtraction = sums.filter(pl.col("total_shown") & (pl.col("parts_gone") > 0))
        assert by_subtraction.filter(pl.col("left").is_between(1, 9)).is_empty()
    groups = frame.group_by("site", "sex", "age_from", "age_to").agg(
        gone=pl.col("n").null_count(),
        left=pl.col("truth").filter(pl.col("n").is_null()).sum(),
        denominator=pl.col("denominator").max(),
    )
    known = groups.filter(pl.col("denominator").is_not_null())
    assert known.filter(pl.col("gone") == 1).is_empty()
    assert known.filter((pl.col("gone") > 0) & (pl.col("left") < 10)).is_empty()


def test_body_fat_up_to_79_beside_everybody_does_not_tell_how_few_are_older():
    people = np.zeros((1, 2, 3, 4), int)
    people[0, :, :2], people[0, :, 2] = 30, 1  # 8 people in the oldest group, which body fat leaves out
    found = protect(
        {"percentile": percentile_of(people), "prevalence": prevalence_of(people[:, :, :2])}, RULES
    )
    all_ages = found["percentile"].filter(age_to=49, age_from=20, sex="all", percentile=50)["n"]
    but_the_oldest = found["prevalence"].filter(age_to=39, age_from=20, sex="all")["denominator"]
    assert all_ages.null_count() == all_ages.len() or but_the_oldest.null_count() == but_the_oldest.len()
