"""Readings in a store → every table of outcomes, as published. Invented people; mechanics of the whole chain."""

from datetime import date, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from pipeline.disclosure import protect
from pipeline.programme import Outcomes, Profile, ProgrammeSettings, Target
from pipeline.readings import build_readings
from pipeline.release import schema
from pipeline.release.table import published_table
from pipeline.results.group_time_effect import period_of
from pipeline.results.outcome import build_outcomes
from pipeline.store import Store, sql_text
from pipeline.tallies import build_tallies
from pipeline.visits import build_visits, site_starts

SITES = ("dock-road", "hall-gate", "mill-lane", "quay-head", "wharf-end")
NAMES = (
    "outcome",
    "retention",
    "retention_balance",
    "transition",
    "outcome_site",
    "group_time_effect",
    "measurement_error",
)
PROFILE = Profile.model_validate(
    {
        "format": "csv",
        "columns": {
            name: {"header": name}
            for name in ("participant", "measured_on", "sex", "age", "weight", "height")
        },
    }
)


def programme(started=(), target=None):
    sites = [
        {"id": s, "name": s, "profile": "p.toml"} | ({"started": started[s]} if s in started else {})
        for s in SITES
    ]
    settings = ProgrammeSettings(name="Test", site=sites, outcomes=Outcomes(target=target))
    return SimpleNamespace(settings=settings, profiles=dict.fromkeys(SITES, PROFILE))


def readings(people=60, seed=4):
    """Everyone begins in spring 2024 and comes every two months until they stop; half a percent lost a visit."""
    random = np.random.default_rng(seed)
    rows = []
    for s, site in enumerate(SITES):
        for person in range(people):
            weight, height = random.normal(84, 12), round(random.normal(170, 8), 1)
            sex, age = ("female", "male")[person % 2], int(random.integers(22, 68)) if person % 10 else 11
            first = datetime(2024, 1, 5, 10) + timedelta(days=int(random.integers(0, 120)))
            visits = 1 + random.binomial(8, 0.75)
            for visit in range(visits):
                at = first + timedelta(days=61 * visit)
                now = (weight if age > 19 else 40) * (1 - 0.005 * visit) + random.normal(0, 0.5)
                for minutes in (0, 5) if person % 7 == 0 else (0,):
                    rows.append(
                        {
                            "reading_id": len(rows),
                            "file_id": s + 1,
                            "line": len(rows),
                            "site": site,
                            "participant": f"{site}-{person}",
                            "measured_on": at.date(),
                            "measured_at": at + timedelta(minutes=minutes),
                            "period": period_of(at.date(), "quarter"),
                            "sex": sex,
                            "age": age,
                            "height_cm": height if age > 19 else 140.0,
                            "weight_kg": round(now + random.normal(0, 0.1), 1),
                            "body_fat_percent": 30 - 0.3 * visit,
                            "flags": [],
                        }
                    )
    return pl.DataFrame(rows, schema_overrides={"flags": pl.List(pl.String)})


@pytest.fixture(scope="module")
def store():
    with Store.open(None) as opened:
        for s, site in enumerate(SITES):
            opened.execute(
                "insert into ledger.file (file_id, run_id, site, name, sha256, bytes, received_at, state) values "
                f"({s + 1}, 1, '{site}', 'f.csv', '{s}', 1, timestamp '2025-12-01', 'accepted')"
            )
        with opened.lent("invented", readings()):
            opened.execute("insert into reading.accepted by name select * from invented")
        opened.execute(
            "update ledger.file set rows_read = n, rows_accepted = n from (select file_id, count(*) as n "
            "from reading.accepted group by file_id) as counted where counted.file_id = file.file_id"
        )
        with opened.transaction():
            build_readings(opened, programme())
            build_tallies(opened, programme())
        yield opened


def built(store, made):
    with store.transaction():
        build_readings(store, made)
        build_visits(store, made)
        build_outcomes(store, made)
    return {name: store.frame(sql_text(f"92_published_{name}.sql")) for name in NAMES}


def test_every_table_is_filled_protected_and_described(store):
    found = built(store, programme(target=Target(months=12, share_losing_5_percent=0.2)))
    tables = {table.name: table for table in schema.TABLES}
    protected = protect(
        found, ProgrammeSettings(name="T", site=[{"id": "a", "name": "a", "profile": "p"}]).disclosure
    )
    for name in NAMES:
        published = published_table(tables[name], protected[name])
        assert published.height == found[name].height
        if name != "group_time_effect":
            assert published.height > 0, name
    assert found["group_time_effect"].is_empty()  # nobody started later: change is not attributed
    assert (
        store.rows("select table_name from duckdb_tables() where temporary and table_name like 'outcome%'")
        == []
    )


def test_the_planted_change_is_found(store):
    found = built(store, programme())["outcome"]
    for months, percent in ((3, -0.5), (6, -1.5), (12, -3.0)):  # the visits at 61, 183 and 366 days
        row = found.filter(
            months=months,
            measure="weight",
            unit="%",
            start="all",
            sex="all",
            estimator="completers",
            age_from=20,
        ).row(0, named=True)
        assert row["low"] < percent < row["high"], months
    # a third of a percentage point of fat a visit: about 0.3·84/100 kg and what the lost weight takes along
    assert found.filter(statistic="fat_share_of_loss", months=12, sex="all")["value"].item() > 0.5


def test_shares_of_reliable_change_add_up_and_rest_on_the_error_that_was_found(store):
    found = built(store, programme())
    shares = found["outcome"].filter(measure="weight", months=12, sex="all", estimator="completers", unit="1")
    parts = dict(shares.select("statistic", "value").iter_rows())
    assert parts["fell"] + parts["unchanged"] + parts["rose"] == pytest.approx(1)
    error = found["measurement_error"].filter(measure="weight")
    by_source = {row["source"]: row for row in error.iter_rows(named=True)}
    assert by_source["same_visit"]["error"] == pytest.approx(0.1, abs=0.03)
    assert by_source["between_visits"]["error"] == pytest.approx(0.51, abs=0.06)
    assert [row["is_used"] for row in by_source.values()] == ["yes", "no"]


def test_without_enough_readings_the_published_error_is_taken(store):
    found = built(store, programme())["measurement_error"]
    assert found.filter(measure="fat_mass", source="published").is_empty()
    with Store.open(None) as empty:
        made = built(empty, programme())
    assert made["measurement_error"].select("measure", "source", "n", "error").rows() == [
        ("body_fat_percent", "published", 0, 1.24),
        ("fat_free_mass", "published", 0, 0.9),
        ("fat_mass", "published", 0, 0.9),
        ("weight", "published", 0, 0.5),
    ]
    assert all(made[name].is_empty() for name in NAMES if name != "measurement_error")


def test_retention_adds_up_over_statuses_and_sites(store):
    found = built(store, programme())["retention"]
    whole = found.filter(pl.col("site").is_null() & pl.col("entry_period").is_null())
    for _, part in whole.group_by("months", "age_from"):
        n = dict(part.select("status", "n").iter_rows())
        due = part.filter(status="gone")["denominator"].item()
        everybody = part.filter(status="not_due")["denominator"].item()
        assert sum(n[s] for s in ("seen", "seen_elsewhere", "not_counted", "missed", "gone")) == due
        assert n["followed"] == n["seen"] + n["seen_elsewhere"]
        assert due + n["not_due"] + n["site_silent"] == everybody
    by_site = found.filter(pl.col("site").is_not_null(), months=3, age_from=20)
    assert by_site["n"].sum() == whole.filter(months=3, age_from=20, status="followed")["n"].item()
    assert set(found.filter(age_from=5)["age_to"]) == {19}


def test_transitions_add_up_to_those_seen(store):
    found = built(store, programme())
    seen = (
        found["outcome"]
        .filter(measure="weight", unit="kg", months=6, start="all", sex="all", estimator="completers")["n"]
        .item()
    )
    assert found["transition"].filter(banding="bmi_adult", months=6)["n"].sum() == seen


def test_the_target_gets_a_probability_at_its_follow_up_only(store):
    found = built(store, programme(target=Target(months=12, share_losing_5_percent=0.2)))["outcome_site"]
    given = found.filter(pl.col("target_probability").is_not_null())
    assert set(given["months"]) == {12} and set(given["topic"]) == {"lost_5_percent"}
    assert given["target_probability"].is_between(0, 1).all() and set(given["target"]) == {0.2}


def test_sites_that_started_one_by_one_are_compared(store):
    starts = {"dock-road": date(2024, 7, 1), "hall-gate": date(2024, 10, 1), "mill-lane": date(2025, 1, 1)}
    found = built(store, programme(starts))["group_time_effect"]
    assert {"group_time", "event", "overall"} <= set(found["kind"])
    first = found.filter(kind="group_time", started="2024Q3", measured_in="2024Q3").row(0, named=True)
    # everybody goes the same way, started or not: about no difference
    assert abs(first["value"]) < 0.6 and (first["sites"], first["comparison_sites"]) == (1, 2)
    assert set(found["flag"]) == {"unreliable"}
    alone = built(store, programme({"dock-road": date(2024, 7, 1)}))["group_time_effect"]
    assert alone.is_empty()


def test_the_same_readings_give_the_same_rows(store):
    one, other = built(store, programme()), built(store, programme())
    assert all(one[name].equals(other[name]) for name in NAMES)


@pytest.mark.parametrize(
    ("day", "kind", "period"),
    [
        (date(2025, 3, 31), "quarter", "2025Q1"),
        (date(2025, 4, 1), "quarter", "2025Q2"),
        (date(2025, 12, 31), "quarter", "2025Q4"),
        (date(2025, 7, 9), "month", "2025-07"),
    ],
)
def test_the_period_of_a_day_is_named_as_the_store_names_it(store, day, kind, period):
    assert period_of(day, kind) == period
    assert (
        store.value(
            "select period_of($at, $kind)", {"at": datetime.combine(day, datetime.min.time()), "kind": kind}
        )
        == period
    )


def test_starts_are_null_where_the_settings_give_none():
    found = site_starts(programme({"quay-head": date(2024, 7, 1)}))
    assert found.filter(pl.col("started").is_not_null())["site"].to_list() == ["quay-head"]
