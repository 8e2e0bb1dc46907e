"""Stored readings → standardised prevalence, trends, the WHO reference and smooth curves, through the store."""

from datetime import date

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal
from scipy.stats import beta, t

from pipeline import measures
from pipeline.programme import Programme, ProgrammeSettings
from pipeline.readings import load_reference
from pipeline.results import build_results
from pipeline.results.building import build_of_periods
from pipeline.statistics.curve_table import diagnostic_rows, percentile_curve_rows
from pipeline.statistics.fitted_curve import fit_curve
from pipeline.store import Store
from pipeline.tallies import build_tallies

SITES = ("east-pier", "north-quay", "west-mole")
TABLES = (
    "prevalence", "standardised_prevalence", "trend", "who_position", "curve", "percentile_curve", "curve_diagnostic",
)  # fmt: skip


@pytest.fixture(scope="module")
def programme(tmp_path_factory):
    sites = [{"id": site, "name": site, "profile": "p.toml"} for site in SITES]
    folder = tmp_path_factory.mktemp("programme")
    return Programme(folder / "programme.toml", ProgrammeSettings(name="Test", site=sites), {}, "c0ffee")


def people(number=1500, seed=3):
    """Invented people seen in one to three quarters; sites differ in weight, and people grow heavier by the quarter."""
    random = np.random.default_rng(seed)
    rows = []
    for i in range(number):
        site, sex, age = SITES[i % 7 % 3], ("female", "male")[i % 2], int(random.integers(5, 90))
        height = 100 + 4 * min(age, 18) + (8 if sex == "male" else 0)
        weight = 0.0021 * height**2 * np.exp(random.normal(0.02 * (i % 7 % 3), 0.15))
        for k in range(1 + i % 3):
            kg = round(weight * (1 + 0.01 * k), 1)
            rows.append((f"p{i:05d}", f"2025Q{k + 1}", site, 10 * i + k, date(2025, 3 * k + 1, 5), sex, age,
                         kg, float(height), kg * 10000 / height**2))  # fmt: skip
    names = ["participant", "period", "site", "reading_id", "measured_on", "sex", "age", "weight_kg", "height_cm",
             "bmi_kg_m2"]  # fmt: skip
    frame = pl.DataFrame(rows, schema=names, orient="row")
    z = pl.when(pl.col("age") <= 19).then(((pl.col("bmi_kg_m2") - 21) / 3).round(2))
    return frame.with_columns(bmi_z=z)


def built(programme, frame):
    store = Store.open(None)
    load_reference(store)
    with store.transaction(), store.lent("people", frame):
        store.execute("insert into reading.participant_period by name select * from people")
        store.execute("create temporary table touched_period as select distinct period, true as is_whole from people")
        store.execute(
            "create temp table changed_person as select 1 as change, * from reading.participant_period limit 0"
        )
        build_tallies(store, programme)
        build_results(store, programme, lambda done, total, what: None)
    return store


@pytest.fixture(scope="module")
def store(programme):
    with built(programme, people()) as opened:
        yield opened


def table(store, name):
    return store.frame(f"select * from result.{name}")


def test_each_person_counts_once_by_the_last_reading(store):
    frame = people()
    last = frame.sort("period").group_by("participant").last()
    found = store.frame("select * from tally.person_value where measure = 'weight'")
    expected = (
        last.with_columns(value=(pl.col("weight_kg") * 10).round().cast(pl.Int32))
        .group_by("sex", "age", "value")
        .agg(n=pl.len().cast(pl.Int64))
    )
    columns = ["sex", "age", "value", "n"]
    assert_frame_equal(
        found.select(columns).sort(columns),
        expected.select(columns).cast({"age": pl.Int16}).sort(columns),
    )


def test_the_interval_of_all_sites_is_korn_and_graubards_by_hand_from_the_counts_of_the_sites(store):
    rows = table(store, "prevalence").filter(
        (pl.col("banding") == "bmi_adult") & (pl.col("age_to") == 99) & (pl.col("age_from") == 20)
    )
    whole = rows.filter((pl.col("population") == "all") & (pl.col("n") > 0)).to_dicts()
    assert len(whole) > 20
    for row in whole:
        same = pl.all_horizontal(pl.col(k) == row[k] for k in ("band", "period", "sex"))
        sites = rows.filter(same & (pl.col("population") == "site"))
        x, m = sites["n"].to_numpy(), sites["denominator"].to_numpy()
        n, k = m.sum(), len(m)
        p = x.sum() / n
        without = (x.sum() - x) / (n - m)
        effect = np.ceil(4 * (k - 1) / k * np.sum((without - p) ** 2) / (p * (1 - p) / n) - 1e-9) / 4
        freedom = np.floor(4 * (n**2 / np.sum(m**2) - 1) + 1e-9) / 4
        effective = min(n, n / effect) * (t.ppf(0.975, n - 1) / t.ppf(0.975, freedom)) ** 2
        low = beta.ppf(0.025, effective * p, effective * (1 - p) + 1)
        high = beta.ppf(0.975, effective * p + 1, effective * (1 - p))
        assert (row["n"], row["denominator"], row["design_effect"]) == (x.sum(), n, effect)
        assert (row["low"], row["high"]) == pytest.approx((low, high), rel=1e-7)


def test_standardised_figures_follow_from_the_published_age_groups(store):
    groups = table(store, "prevalence").filter(
        (pl.col("banding") == "bmi_adult") & (pl.col("band") == "overweight") & pl.col("site").is_null()
        & (pl.col("period") == "2025Q1") & (pl.col("sex") == "female") & (pl.col("age_from") >= 20)
        & (pl.col("age_to") < 90)
    ).sort("age_from")  # fmt: skip
    row = table(store, "standardised_prevalence").row(
        by_predicate=(pl.col("banding") == "bmi_adult") & (pl.col("band") == "overweight")
        & pl.col("site").is_null() & (pl.col("period") == "2025Q1") & (pl.col("sex") == "female"),
        named=True,
    )  # fmt: skip
    # WHO 2000-2025, 20-29 to 70-79 and 80 and over to 99 (Ahmad et al. 2001)
    weight = np.array([8.22 + 7.93, 7.61 + 7.15, 6.59 + 6.04, 5.37 + 4.55, 3.72 + 2.96, 2.21 + 1.52,
                       0.91 + 0.44 + 0.15 + 0.04])  # fmt: skip
    assert groups.height == 7 and row["standard"] == "who-world"
    assert row["proportion"] == pytest.approx(weight @ groups["proportion"].to_numpy() / weight.sum())
    assert row["n"] == groups["n"].sum() and row["denominator"] == groups["denominator"].sum()


def test_trends_rise_where_people_grow_heavier(store):
    row = table(store, "trend").row(
        by_predicate=(pl.col("banding") == "bmi_adult")
        & (pl.col("band") == "obesity_1")
        & (pl.col("sex") == "all"),
        named=True,
    )
    assert (row["period_from"], row["period_to"], row["periods"]) == ("2025Q1", "2025Q3", 3)
    assert 0 < row["low"] <= row["odds_ratio"] <= row["high"] and 0 <= row["p"] <= 1


def test_the_reference_is_stood_beside_the_children_alone(store):
    rows = table(store, "who_position")
    assert rows["age_to"].max() == 19
    frame = people().filter((pl.col("age") <= 19) & (pl.col("period") == "2025Q1"))
    row = rows.row(
        by_predicate=(pl.col("period") == "2025Q1") & (pl.col("sex") == "all") & (pl.col("percentile") == 85)
        & (pl.col("age_from") == 5) & (pl.col("age_to") == 19),
        named=True,
    )  # fmt: skip
    assert (row["n"], row["denominator"]) == (frame.filter(pl.col("bmi_z") < 1.0364).height, frame.height)


def test_every_measure_that_anybody_has_gets_a_curve_or_a_reason(store):
    rows = table(store, "curve")
    assert set(rows["measure"]) == {"weight", "height", "bmi", "bmi_z"}
    assert set(rows["sex"]) == {"female", "male"} and rows.height == 8
    drawn = table(store, "percentile_curve")
    for measure, sex, method in rows.select("measure", "sex", "method").rows():
        here = drawn.filter((pl.col("measure") == measure) & (pl.col("sex") == sex))
        assert (method == "none") == here.is_empty()
    weight = drawn.filter((pl.col("measure") == "weight") & pl.col("value").is_not_null())
    assert weight["method"].str.contains("3 sites").all() and weight["low"].null_count() == 0
    assert weight.height and set(weight["percentile"]) == set(measures.PERCENTILES)


def test_bands_and_shares_below_are_those_of_each_sites_people_counted_one_by_one(programme, store):
    last = people().sort("period").group_by("participant").last().filter(sex="female")
    last = last.with_columns(value=(pl.col("weight_kg") * 10).round().cast(pl.Int64))

    def cells(of):
        counted = of.group_by("age", "value").agg(n=pl.len()).sort("age", "value")
        return (counted[name].to_numpy().astype(float) for name in ("age", "value", "n"))

    age, steps, n = cells(last)
    curve = fit_curve(measures.MEASURES["weight"], "female", age, steps, n, measures.PERCENTILES)
    sites = []
    for site in SITES:
        age, steps, n = cells(last.filter(site=site))
        sites.append(curve.summed(age, steps / 10, n, measures.PERCENTILES))
    groups = programme.settings.ages.groups
    for name, expected in (
        ("percentile_curve", percentile_curve_rows(curve, sites, measures.PERCENTILES)),
        ("curve_diagnostic", diagnostic_rows(curve, groups, measures.PERCENTILES, sites)),
    ):
        found = table(store, name).filter(measure="weight", sex="female")
        assert_frame_equal(found, expected, rel_tol=1e-9, abs_tol=1e-9, check_row_order=False)


@pytest.mark.parametrize("period", ["2025Q1", "2025Q3"])
def test_a_period_written_alone_has_the_rows_that_it_has_among_all(programme, store, period):
    names = (
        "prevalence", "standardised_prevalence", "who_position", "percentile", "site_comparison", "site_heterogeneity",
    )  # fmt: skip
    before = {name: sorted(store.rows(f"from result.{name}"), key=str) for name in names}
    store.connection.begin()
    build_of_periods(store, programme, lambda done, total, what: None, periods=[period])
    after = {name: sorted(store.rows(f"from result.{name}"), key=str) for name in names}
    store.connection.rollback()
    for name in names:
        assert before[name] and after[name] == before[name], name


def test_building_again_gives_the_same_rows_and_a_person_in_a_new_period_moves(programme, store):
    with built(programme, people().sample(fraction=1, shuffle=True, seed=2)) as again:
        for name in TABLES:
            assert table(store, name).equals(table(again, name), null_equal=True), name


def test_an_empty_store_gives_empty_tables(programme):
    nobody = people(3).clear()
    with built(programme, nobody) as empty:
        assert {name: table(empty, name).height for name in TABLES} == dict.fromkeys(TABLES, 0)
