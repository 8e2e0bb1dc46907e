"""Readings in a store → result.site_comparison, site_heterogeneity, device, instrument_check."""

from datetime import datetime, timedelta
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from pipeline.programme import Profile, ProgrammeSettings
from pipeline.readings import build_readings
from pipeline.release import schema
from pipeline.release.table import published_table
from pipeline.release.unsuppressed import Unsuppressed
from pipeline.results.device import CHART, build_devices
from pipeline.results.instrument_check import build_instrument_checks, printed_steps
from pipeline.results.site_comparison import ages_compared, build_site_comparison
from pipeline.store import Store
from pipeline.tallies import build_tallies

SITES = ("dock-road", "hall-gate", "mill-lane", "quay-head", "wharf-end")
REQUIRED = {"participant": "id", "measured_on": "on", "sex": "sex", "age": "age"}
PROFILE = {
    "format": "csv",
    "columns": {name: {"header": header} for name, header in REQUIRED.items()}
    | {"weight": {"header": "kg", "unit": "kg"}, "height": {"header": "cm", "unit": "cm"}},
}
SETTINGS = ProgrammeSettings(name="Test", site=[{"id": s, "name": s, "profile": "p.toml"} for s in SITES])
PROGRAMME = SimpleNamespace(settings=SETTINGS, profiles=dict.fromkeys(SITES, Profile.model_validate(PROFILE)))


def readings(people=120, quarters=6, shift_kg=0.0, clothing=False, seed=4):
    """Everyone comes once a quarter; the second analyser of mill-lane reads `shift_kg` more from the fourth on."""
    random = np.random.default_rng(seed)
    rows = []
    for s, site in enumerate(SITES):
        for person in range(people):
            weight, height = random.normal(78, 12), round(random.normal(170, 8), 1)
            sex, age = ("female", "male")[person % 2], int(random.integers(22, 68))
            for quarter in range(quarters):
                on = datetime(2024, 1, 5, 10) + timedelta(days=91 * quarter + int(random.integers(0, 70)))
                device = f"{site}-{random.integers(1, 3)}"
                is_off = (device, quarter >= 3) == ("mill-lane-2", True)
                rows.append({
                    "reading_id": len(rows), "file_id": s + 1, "line": len(rows), "site": site,
                    "participant": f"{site}-{person}", "measured_on": on.date(), "measured_at": on,
                    "period": f"{on.year}Q{(on.month + 2) // 3}", "sex": sex, "age": age, "height_cm": height,
                    "weight_kg": round(weight + random.normal(0, 0.6) + is_off * shift_kg, 1), "device": device,
                    "clothing_weight_kg": (0.0 if is_off else 1.0) if clothing else None,
                    "is_athlete_mode": False, "flags": ["athlete_mode_missing"] if person == 3 and s == 0 else [],
                })  # fmt: skip
    return pl.DataFrame(
        rows, schema_overrides={"clothing_weight_kg": pl.Float64, "flags": pl.List(pl.String)}
    )


@pytest.fixture
def store():
    with Store.open(None) as opened:
        yield opened


def fill(store, frame):
    for (site, file_id), rows in frame.group_by("site", "file_id"):
        store.execute(
            """insert into ledger.file (file_id, run_id, site, name, sha256, bytes, received_at, state, rows_read,
                rows_accepted) values ($file_id, 1, $site, 'a.csv', 'x', 1, '2025-08-01', 'accepted', $n, $n)""",
            {"file_id": file_id, "site": site, "n": rows.height},
        )
    with store.lent("given", frame):
        store.execute("insert into reading.accepted by name select * from given")
    build_readings(store, PROGRAMME)
    build_tallies(store, PROGRAMME)


def signals(store):
    return store.rows(
        "select site, device, period, measure, signal from result.device where signal <> '' order by all"
    )


def test_a_shifted_analyser_is_named_and_nobody_else(store):
    fill(store, readings(shift_kg=1.0))
    build_devices(store, PROGRAMME)
    assert signals(store) == [("mill-lane", "mill-lane-2", "2024Q4", "weight", "shift")]
    decision = {row for (row,) in store.rows("select distinct decision from result.device")}
    assert decision == {CHART.decision}


def test_a_rise_that_less_clothing_explains_is_called_so(store):
    fill(store, readings(shift_kg=1.0, clothing=True))
    build_devices(store, PROGRAMME)
    assert [row[-1] for row in signals(store)] == ["clothing weight"]


def test_a_programme_in_order_has_no_signal_and_all_rows(store):
    fill(store, readings())
    build_devices(store, PROGRAMME)
    assert signals(store) == []
    assert store.value("select count(distinct device) from result.device") == 10


def test_a_store_without_readings_has_empty_tables(store):
    build_devices(store, PROGRAMME)
    build_site_comparison(store, PROGRAMME)
    for table in ("device", "site_comparison", "site_heterogeneity"):
        assert store.rows(f"select * from result.{table}") == []


def test_results_again_are_the_same(store):
    fill(store, readings(quarters=3))
    for build, tables in (
        (build_devices, ("device",)),
        (build_instrument_checks, ("instrument_check",)),
        (build_site_comparison, ("site_comparison", "site_heterogeneity")),
    ):
        build(store, PROGRAMME)
        once = [store.rows(f"select * from result.{table}") for table in tables]
        build(store, PROGRAMME)
        assert [store.rows(f"select * from result.{table}") for table in tables] == once


def test_sites_are_compared_in_the_latest_four_periods_in_order_of_name(store):
    fill(store, readings())
    build_site_comparison(store, PROGRAMME)
    rows = store.rows("select distinct period from result.site_comparison order by all")
    assert [period for (period,) in rows] == ["2024Q3", "2024Q4", "2025Q1", "2025Q2"]
    sites = store.rows("select site from result.site_comparison where topic = 'weight' and period = '2025Q2'")
    assert [site for (site,) in sites] == list(SITES)
    ages = store.rows(
        "select distinct topic, age_from, age_to from result.site_comparison where topic like 'bmi%'"
    )
    assert sorted(ages) == [("bmi", 20, 99), ("bmi_adult", 20, 99)]


def test_a_bands_people_are_those_of_the_prevalence_table(store):
    fill(store, readings())
    build_site_comparison(store, PROGRAMME)
    assert (
        store.rows(
            """select c.site from result.site_comparison as c
        join (select site, period, banding, band, sum(n) as n from tally.band where age >= 20 group by all) as t
            on t.site = c.site and t.period = c.period and t.banding = c.topic and t.band = c.band
        where t.n <> c.n"""
        )
        == []
    )
    assert store.value("select sum(n) from result.site_comparison where topic = 'bmi_adult'") == store.value(
        "select count(*) from reading.participant_period where period >= '2024Q3'"
    )


def test_each_result_table_fits_its_published_schema(store):
    fill(store, readings())
    build_devices(store, PROGRAMME)
    build_instrument_checks(store, PROGRAMME)
    build_site_comparison(store, PROGRAMME)
    found = Unsuppressed(store, PROGRAMME.settings.disclosure).whole()
    for table in (schema.SITE_COMPARISON, schema.SITE_HETEROGENEITY, schema.DEVICE, schema.INSTRUMENT_CHECK):
        rows = published_table(table, found[table.name])
        assert rows.height > 0
        for column in table.columns:
            words = column.limits.get("enum")
            if words:
                assert set(rows[column.name].drop_nulls()) <= set(words), (table.name, column.name)
            for limit, holds in (("minimum", pl.Series.min), ("maximum", pl.Series.max)):
                if limit in column.limits and rows[column.name].drop_nulls().len():
                    assert (holds(rows[column.name]) - column.limits[limit]) * (
                        1 if limit == "minimum" else -1
                    ) >= 0


def test_digits_that_are_preferred_are_seen_in_the_unit_received(store):
    frame = readings(quarters=2)
    rounded = (
        pl.when(pl.col("site") == "hall-gate")
        .then(pl.col("weight_kg").round(0))
        .otherwise(pl.col("weight_kg"))
    )
    fill(store, frame.with_columns(weight_kg=rounded))
    build_instrument_checks(store, PROGRAMME)
    found = dict(
        store.rows(
            """select site, value from result.instrument_check
            where "check" = 'terminal_digit_weight' and period is null"""
        )
    )
    assert found.pop("hall-gate") == pytest.approx(0.9)
    assert max(found.values()) < 0.15


def test_a_remark_on_athlete_mode_counts_against_the_readings_that_tell_it(store):
    fill(store, readings(people=50, quarters=4))
    build_instrument_checks(store, PROGRAMME)
    rows = store.rows(
        """select site, n, denominator from result.instrument_check
        where "check" = 'athlete_mode' and period is null order by site"""
    )
    assert rows[0] == ("dock-road", 4, 200)
    assert all(n == 0 for _, n, _ in rows[1:])


def test_rows_sent_twice_and_values_that_cannot_be_are_shares_of_the_rows_read(store):
    fill(store, readings(people=50, quarters=4))
    store.execute("update ledger.file set rows_duplicate = 20 where site = 'hall-gate'")
    held = [
        (10, ["out_of_range:weight", "implausible_bmi"]),  # one row, though two reasons
        (11, ["implausible_fat_free_mass"]),
        (12, ["missing:weight"]),  # not there is not impossible
    ]
    for line, codes in held:
        store.execute(
            """insert into ledger.held_row (file_id, line, codes, field, received)
            select file_id, $line, $codes, 'weight', '{}' from ledger.file where site = 'mill-lane'""",
            {"line": line, "codes": codes},
        )
    build_instrument_checks(store, PROGRAMME)
    rows = store.rows(
        """select "check", site, n, denominator, value, statistic is null, p < 0.001 from result.instrument_check
        where "check" in ('duplicated', 'impossible') and n > 0 order by all"""
    )
    assert rows == [  # nothing of the kind elsewhere: no ratio to the other sites
        ("duplicated", "hall-gate", 20, 200, 0.1, True, True),
        ("impossible", "mill-lane", 2, 200, 0.01, True, False),
    ]
    assert store.value("""select count(*) from result.instrument_check where "check" = 'impossible'""") == len(SITES)


def test_a_lone_analyser_s_rise_that_less_clothing_explains_is_called_so(store):
    """Files that name no analyser: one instrument a site."""
    frame = readings(clothing=True).with_columns(device=pl.lit(None, pl.String))
    is_off = (pl.col("site") == "mill-lane") & (pl.col("period") >= "2024Q4")
    fill(store, frame.with_columns(
        weight_kg=pl.col("weight_kg") + pl.when(is_off).then(1.0).otherwise(0.0),
        clothing_weight_kg=pl.when(is_off).then(0.0).otherwise(1.0),
    ))  # fmt: skip
    build_devices(store, PROGRAMME)
    found = signals(store)
    assert {(site, device, measure, signal) for site, device, _, measure, signal in found} == {
        ("mill-lane", None, "weight", "clothing weight")
    }
    assert found[0][2] == "2024Q4"


@pytest.mark.parametrize(
    ("column", "steps"),
    [
        ({"unit": "kg"}, 10.0),
        ({"unit": "kg", "resolution": 1.0}, 1.0),
        ({"unit": "kg", "resolution": 0.5}, None),
        ({"unit": "g"}, 10.0),
        ({"unit": "[lb_av]"}, None),  # fifths of a pound: even digits only
        ({"unit": "[lb_av]", "resolution": 0.1}, 10 / 0.45359237),
        ({"unit": "kg", "written_units": True}, None),
    ],
)
def test_last_digits_are_tested_only_where_all_ten_can_be_printed(column, steps):
    profile = Profile.model_validate(
        PROFILE | {"columns": PROFILE["columns"] | {"weight": {"header": "w"} | column}}
    )
    assert printed_steps(profile, "weight") == (steps and pytest.approx(steps))


@pytest.mark.parametrize(
    ("lowest", "highest", "ages"),
    [(20, 99, (20, 99)), (18, 99, (20, 99)), (5, 19, (5, 19)), (5, 99, (20, 99)), (20, 79, (20, 99))],
)
def test_sites_are_compared_in_adults_where_there_are_any(lowest, highest, ages):
    assert ages_compared(SETTINGS.ages, lowest, highest) == ages
