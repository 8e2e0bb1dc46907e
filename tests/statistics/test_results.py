"""Stored tallies and people → result tables, through the store."""

from datetime import date
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline import measures
from pipeline.programme import Programme, ProgrammeSettings
from pipeline.results import build_results, reported_bandings
from pipeline.results.percentile import people_of_sites
from pipeline.store import Store

SITE = {"name": "A site", "profile": "p.toml"}
SETTINGS = ProgrammeSettings(name="Test", site=[{"id": "east-pier", **SITE}, {"id": "north-quay", **SITE}])
PROGRAMME = Programme(Path("programme.toml"), SETTINGS, {}, "c0ffee")


def silent(done, total, what):
    pass


@pytest.fixture
def store():
    with Store.open(None) as opened:
        yield opened


def fill(store, people=240, seed=7):
    """Invented people at two sites over two quarters, and the tally of all of them."""
    random = np.random.default_rng(seed)
    number = range(people)
    frame = pl.DataFrame(
        {
            "participant": [f"p{i:04d}" for i in number],
            "period": [("2025Q1", "2025Q2")[i % 2] for i in number],
            "site": ["east-pier" if i % 3 == 0 else "north-quay" for i in number],
            "reading_id": list(number),
            "measured_on": [date(2025, 1, 31)] * people,
            "sex": [("female", "male")[i // 2 % 2] for i in number],
            "age": random.integers(20, 60, people).astype(np.int16),
            **{
                measure.column: random.integers(100, 900, people) / measure.steps_per_unit
                for measure in measures.MEASURES.values()
                if measure.name not in ("bmi_z", "muscle_mass")
            },
            "muscle_mass_kg": [None if i % 5 == 0 else 30 + i % 7 / 10 for i in number],
        }
    )
    add_people(store, frame)
    store.execute(
        "create temporary table touched_period as "
        "select distinct period, true as is_whole from reading.participant_period"
    )
    store.execute("create temp table changed_person as select 1 as change, * from reading.participant_period limit 0")
    store.execute_file("30_counted_anew.sql")
    store.execute_file("30_tally_value.sql")
    return frame


def add_people(store, frame):
    with store.lent("people", frame):
        store.execute("insert into reading.participant_period by name select * from people")


def value_rows(store, site):
    """measure, value: a row for each value of each of a site's people."""
    store.execute_file("50_person_value.sql", period="2025Q1")
    sites = [name for (name,) in store.rows("select site from person_site order by number")]
    people = people_of_sites(store, sites, site, site)
    assert people["site"].cast(pl.String).unique().to_list() == [site]
    return people.unpivot(
        list(measures.MEASURES), index=["sex", "age"], variable_name="measure", value_name="value"
    ).drop_nulls()


def test_every_measure_of_the_registry_is_tallied_by_its_own_steps(store):
    values = {
        measure.column: (1234 + i) / measure.steps_per_unit
        for i, measure in enumerate(measures.MEASURES.values())
    }
    add_people(
        store,
        pl.DataFrame(
            {
                "participant": ["p"],
                "period": ["2025Q1"],
                "site": ["north-quay"],
                "reading_id": [1],
                "measured_on": [date(2025, 1, 1)],
                "sex": ["male"],
                "age": [19],  # at which every measure counts
                **{name: [v] for name, v in values.items()},
            }
        ),
    )
    found = value_rows(store, "north-quay")
    assert dict(zip(found["measure"], found["value"], strict=True)) == {
        name: 1234 + i for i, name in enumerate(measures.MEASURES)
    }
    assert found.select("sex", "age").unique().rows() == [("male", 19)]


def test_halves_of_a_print_step_go_away_from_zero_and_missing_counts_nowhere(store):
    add_people(
        store,
        pl.DataFrame(
            {
                "participant": ["p", "q"],
                "period": ["2025Q1"] * 2,
                "site": ["a"] * 2,
                "reading_id": [1, 2],
                "measured_on": [date(2025, 1, 1)] * 2,
                "sex": ["male"] * 2,
                "age": [12, 12],
                "weight_kg": [30.25, 30.0],
                "height_cm": [140.0, 140.0],
                "bmi_kg_m2": [15.4, 15.3],
                "bmi_z": [-0.125, None],
            }
        ),
    )
    found = value_rows(store, "a").filter(pl.col("measure").is_in(["weight", "bmi_z"]))
    assert sorted(found.select("measure", "value").rows()) == [("bmi_z", -13), ("weight", 300), ("weight", 303)]


def test_percentiles_of_all_and_of_each_site_equal_numpy_on_the_rows(store):
    people = fill(store)
    build_results(store, PROGRAMME, silent)
    found = store.frame("select * from result.percentile order by all")
    assert found["site"].unique().sort().to_list() == [None, "east-pier", "north-quay"]
    women = found.filter(pl.col("sex") == "female", pl.col("age_from") == 20, pl.col("age_to") == 99)
    for (measure, site, period), part in women.group_by("measure", "site", "period"):
        of = measures.MEASURES[measure]
        here = people if site is None else people.filter(pl.col("site") == site)
        rows = (
            here.filter(pl.col("sex") == "female", pl.col("period") == period)[of.column]
            .drop_nulls()
            .to_numpy()
        )
        assert part["n"].unique().to_list() == [rows.size]
        assert part.sort("percentile")["value"].to_numpy() == pytest.approx(
            np.quantile(np.round(rows, of.decimals), np.array(measures.PERCENTILES) / 100), abs=1e-9
        )
    assert set(found["measure"]) == set(measures.MEASURES) - {"bmi_z"}


def test_a_site_alone_has_the_percentiles_of_all(store):
    people = fill(store)
    store.execute("update reading.participant_period set site = 'north-quay'")
    build_results(store, PROGRAMME, silent)
    rows = store.frame("select * exclude (site) from result.percentile where site is null order by all")
    assert rows.height > people.height
    assert_frame_equal(
        rows,
        store.frame("select * exclude (site) from result.percentile where site = 'north-quay' order by all"),
    )


def test_building_twice_is_the_same_as_once_and_reports_each_period(store):
    fill(store)
    tally = pl.DataFrame(
        {
            "site": ["north-quay"] * 2,
            "period": ["2025Q1"] * 2,
            "sex": ["male"] * 2,
            "age_from": [30, 40],
            "banding": ["bmi_adult"] * 2,
            "band": ["normal", "overweight"],
            "n": [5, 2],
        }
    )
    with store.lent("bands", tally):
        store.execute("insert into tally.band_of_ages by name select * from bands")
    progress = []
    build_results(store, PROGRAMME, lambda *args: progress.append(args))
    first = [store.rows(f"select * from result.{name}") for name in ("prevalence", "percentile")]
    build_results(store, PROGRAMME, silent)
    assert [store.rows(f"select * from result.{name}") for name in ("prevalence", "percentile")] == first
    assert all(first)
    assert progress[:2] == [(1, 2, "percentiles of 2025Q1"), (2, 2, "percentiles of 2025Q2")]


def test_an_empty_store_gives_empty_results(store):
    build_results(store, PROGRAMME, silent)
    assert store.value("select count(*) from result.prevalence") == 0
    assert store.value("select count(*) from result.percentile") == 0


def test_the_asian_action_points_are_reported_only_on_request():
    asked = SETTINGS.model_copy(
        update={"bandings": SETTINGS.bandings.model_copy(update={"adult_bmi": "who-asian"})}
    )
    usual = [banding.name for banding in reported_bandings(SETTINGS)]
    assert "bmi_adult" in usual
    assert "bmi_adult_asian" not in usual
    assert {banding.name for banding in reported_bandings(asked)} == set(measures.BANDINGS)
