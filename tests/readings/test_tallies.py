"""Counts of values and bands: by the registry's names, whole print steps, touched periods only."""

import re
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline import measures
from pipeline.faults import StoreFault
from pipeline.programme import Ages
from pipeline.readings import build_readings
from pipeline.store import sql_text
from pipeline.tallies import build_tallies

TALLIES = ("value", "moment", "band", "band_of_ages")
SQL = Path(__file__).parents[2] / "sql"
Q1, Q2 = date(2025, 2, 3), date(2025, 5, 5)
FULL = {
    "body_fat_percent": 30.0,
    "fat_mass_kg": 19.5,
    "fat_free_mass_kg": 45.5,
    "muscle_mass_kg": 43.0,
    "bone_mineral_mass_kg": 2.5,
    "total_body_water_kg": 33.2,
    "total_body_water_percent": 51.1,
    "basal_metabolic_rate_kcal_d": 1347.0,
    "visceral_fat_level": 4.0,
    "metabolic_age_a": 33.0,
}


def people(store, n=3000, seed=11):
    """Invented people of all ages, sexes, sites and two periods, with every measure, straight into the table."""
    random = np.random.default_rng(seed)
    measured = {
        measure.column: np.round(random.normal(300, 60, n)) / measure.steps_per_unit
        for measure in measures.MEASURES.values()
    }
    age = random.integers(5, 100, n)
    frame = pl.DataFrame(
        {
            "participant": [f"p{i}" for i in range(n)],
            "reading_id": np.arange(n),
            "measured_on": [Q1] * n,
            "period": random.choice(["2025Q1", "2025Q2"], n),
            "site": random.choice(["east-pier", "north-quay"], n),
            "sex": random.choice(["female", "male"], n),
            "age": age.astype(np.int16),
            **measured,
        }
    ).with_columns(
        pl.when(pl.col("age") < 20).then(pl.col("bmi_z") - 3).alias("bmi_z"),
        *(
            pl.when(pl.col("participant").str.ends_with("7"))
            .then(None)
            .otherwise(pl.col(m.column))
            .alias(m.column)
            for m in measures.MEASURES.values()
            if m.name not in ("weight", "height", "bmi", "bmi_z")
        ),
    )
    with store.lent("people", frame):
        store.execute("insert into reading.participant_period by name select * from people")
    store.execute(
        "create or replace temp table touched_period as "
        "select distinct period, true as is_whole from reading.participant_period"
    )
    store.execute(
        "create or replace temp table changed_person as select 1 as change, * from reading.participant_period limit 0"
    )
    return frame


def expected_values(frame):
    """The same tally, made here by Polars from the registry: (period, sex, age, measure, value) → n."""
    parts = []
    for measure in measures.MEASURES.values():
        value = pl.col(measure.column) * measure.steps_per_unit
        parts.append(
            frame.filter(
                pl.col(measure.column).is_not_null(),
                pl.col("age").is_between(measure.age_from, measure.age_to),
            ).select(
                "site",
                "period",
                "sex",
                "age",
                measure=pl.lit(measure.name),
                value=value.round().cast(pl.Int32),
            )
        )
    return pl.concat(parts)


def test_values_are_those_of_the_registry_by_name_column_steps_and_ages(store):
    rows = expected_values(people(store))
    store.execute_file("30_counted_anew.sql")
    store.execute_file("30_tally_value.sql")
    found = store.frame("select period, sex, age, measure, value, n from tally.value order by all")
    keys = ["period", "sex", "age", "measure", "value"]
    assert set(found["measure"]) == set(measures.MEASURES)
    assert found.rows() == rows.group_by(keys).agg(n=pl.len()).sort(keys).rows()


def test_one_place_says_in_which_steps_a_measure_counts():
    statements = {path.name: re.sub(r"--.*", "", path.read_text("utf-8")) for path in SQL.glob("*.sql")}
    assert {name for name, text in statements.items() if "print_steps(" in text} == {"03_macros_tallies.sql"}


def test_moments_are_sums_of_steps_by_site_and_age_group(store, programme):
    rows = expected_values(people(store))
    build_tallies_only(store, programme)
    found = store.rows(
        "select site, period, sex, age_from, age_to, measure, n, sum, sum_of_squares "
        "from tally.moment order by all"
    )
    groups = pl.DataFrame(
        [*measures.AGE_GROUPS, *measures.AGE_TOTALS],
        orient="row",
        schema={"age_from": pl.Int16, "age_to": pl.Int16},
    )
    keys = ["site", "period", "sex", "age_from", "age_to", "measure"]
    expected = (
        rows.join(groups, how="cross")
        .filter(pl.col("age").is_between("age_from", "age_to"))
        .group_by(keys)
        .agg(
            n=pl.len(),
            sum=pl.col("value").cast(pl.Int64).sum(),
            squares=(pl.col("value").cast(pl.Int64) ** 2).sum(),
        )
        .sort(keys)
    )
    assert [tuple(int(x) if i > 5 else x for i, x in enumerate(row)) for row in found] == expected.rows()


def test_bands_are_the_registrys_within_its_ages(store, programme):
    frame = people(store)
    build_tallies_only(store, programme)
    for banding in measures.BANDINGS.values():
        bands = store.rows(
            "select distinct band from tally.band where banding = $name", {"name": banding.name}
        )
        assert {band for (band,) in bands} <= {band.name for band in banding.bands}
        low, high = store.rows(
            "select min(age), max(age) from tally.band where banding = $name", {"name": banding.name}
        )[0]
        assert (low, high) == (banding.age_from, banding.age_to)
    adults = frame.filter(pl.col("age") >= 20)
    assert store.value("select sum(n) from tally.band where banding = 'bmi_adult'") == adults.height


def build_tallies_only(store, programme):
    """All tallies of people put straight into participant_period: no reading, no file."""
    with store.transaction():
        build_tallies(store, programme)


def test_every_banding_names_all_its_bands_in_sql():
    macros = sql_text("01_macros_bands.sql")
    for banding in measures.BANDINGS.values():
        text = re.search(rf"macro band_{banding.name}\(.*?;", macros, re.S).group()
        assert set(re.findall(r"(?:then|else) '([a-z_0-9]+)'", text)) == {band.name for band in banding.bands}


@pytest.mark.parametrize(
    ("value", "steps", "expected"),
    [
        (72.4, 10, 724),
        (0.25, 10, 3),
        (-0.25, 10, -3),
        (0.24999999, 10, 2),
        (1.005, 100, 101),
        (-1.005, 100, -101),
        (0.0, 10, 0),
        (None, 10, None),
    ],
)
def test_steps_round_half_away_from_zero(store, value, steps, expected):
    found = store.value(
        "select print_steps($value::double, $steps::integer)", {"value": value, "steps": steps}
    )
    assert found == expected


def test_water_in_fat_free_mass_rounds_exact_halves_up_over_the_whole_grid(store):
    """Both in tenths of a kilogram, 8 to 90 kg of fat-free mass, 5 to 60 of water: whole thousandths by fractions."""
    wrong = store.rows("""
        select water, lean
        from (select unnest(range(50, 601)) as water) cross join (select unnest(range(80, 901)) as lean)
        where print_steps(share(water / 10, lean / 10), 1000) <> (2000 * water + lean) // (2 * lean)
        order by all limit 5""")
    assert wrong == []


def test_children_have_no_metabolic_age_or_visceral_level_in_the_tallies(accept, build, store):
    accept(FULL | {"age": 17}, FULL | {"age": 18, "participant": "p2"})
    build()
    assert store.rows(
        "select measure, age from tally.value where measure in ('metabolic_age', 'visceral_fat_level') "
        "order by all"
    ) == [("metabolic_age", 18), ("visceral_fat_level", 18)]
    assert store.value("select count(*) from tally.band where banding = 'visceral_fat' and age < 18") == 0


def test_the_ages_at_which_bandings_begin_and_end(accept, build, store):
    accept(*(FULL | {"age": age, "participant": f"p{age}"} for age in (17, 18, 19, 20, 79, 80)))
    build()
    ages = dict(store.rows("select banding, list(age order by age) from tally.band group by banding"))
    assert ages == {
        "bmi_adult": [20, 79, 80],
        "bmi_adult_asian": [20, 79, 80],
        "bmi_child": [17, 18, 19],
        "body_fat": [20, 79],
        "hydration": [18, 19, 20, 79, 80],
        "visceral_fat": [18, 19, 20, 79, 80],
        "fat_lean": [18, 19, 20, 79, 80],
    }


def test_twice_is_the_same_as_once(accept, build, store):
    accept(FULL, FULL | {"participant": "p2", "measured_on": Q2})
    build()
    once = [store.rows(f"from tally.{table} order by all") for table in TALLIES]
    store.execute("update ledger.file set is_built = false")
    build()
    assert [store.rows(f"from tally.{table} order by all") for table in TALLIES] == once
    assert all(once)


def test_files_built_one_by_one_give_what_all_at_once_give(accept, build, store):
    accept(FULL, FULL | {"participant": "p2", "age": 12, "height_cm": 150.0, "weight_kg": 40.0})
    build()
    accept(FULL | {"participant": "p3"}, FULL | {"measured_on": date(2025, 3, 1), "weight_kg": 63.0})
    build()
    stepwise = [store.rows(f"from tally.{table} order by all") for table in TALLIES]
    store.execute("update ledger.file set is_built = false")
    store.execute("delete from tally.value; delete from tally.moment; delete from tally.band")
    store.execute("delete from reading.participant_period")
    build()
    assert [
        store.rows(f"from tally.{table} order by all") for table in TALLIES
    ] == stepwise


# Any readings, cut into files in any way and built after any of them: the counts are those of one build over all. A
# person has one reading a day, so that no tie is left for the order of files to settle.
@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.dictionaries(
        st.tuples(st.integers(0, 4), st.integers(0, 5)),
        st.tuples(st.sampled_from(["east-pier", "north-quay"]), st.integers(550, 750), st.integers(0, 3)),
        min_size=1,
        max_size=14,
    ),
    st.randoms(use_true_random=False),
)
def test_tallies_add_up_over_any_split_into_files(accept, build, store, readings, random):
    def reading(person, day, weight):
        month = 1 + 2 * day  # three quarters
        return FULL | {"participant": f"p{person}", "measured_on": date(2025, month, 9), "weight_kg": weight / 10}

    def tallied(files):
        for table in ("reading.participant_period", "reading.set_aside", "reading.accepted", "ledger.file",
                      *(f"tally.{table}" for table in TALLIES)):  # fmt: skip
            store.execute(f"delete from {table}")
        for site, rows, is_built_now in files:
            accept(*rows, site=site)
            if is_built_now:
                build()
        build()
        return [store.rows(f"from tally.{table} order by all") for table in TALLIES]

    parts: dict[tuple[str, int], list] = {}
    for (person, day), (site, weight, file) in readings.items():
        parts.setdefault((site, file), []).append(reading(person, day, weight))
    split = [(site, rows, random.random() < 0.5) for (site, _), rows in parts.items()]
    random.shuffle(split)
    whole = [
        (site, [row for (at, _), rows in parts.items() if at == site for row in rows], False)
        for site in ("east-pier", "north-quay")
        if any(at == site for at, _ in parts)
    ]
    once = tallied(whole)
    # nobody counts where all of a person's readings disagree: two, say, of 55.0 and of 66.3 kg
    is_anybody = store.value("select count(*) from reading.participant_period") > 0
    assert bool(once[0]) == bool(once[2]) == is_anybody
    assert tallied(split) == once


def test_a_built_file_is_marked_so(accept, build, store):
    accept({})
    assert store.rows("select is_built from ledger.file") == [(False,)]
    build()
    assert store.rows("select is_built from ledger.file") == [(True,)]


def test_age_groups_that_change_in_the_settings_renew_the_moments_of_every_period(accept, build, store):
    accept({}, {"participant": "p2", "measured_on": Q2, "age": 45})
    build()
    ages = Ages(groups=((5, 19), (20, 39), (40, 99)), totals=((5, 99),))
    other = SimpleNamespace(settings=SimpleNamespace(period="quarter", ages=ages))
    with store.transaction():
        build_readings(store, other)
        build_tallies(store, other)
    assert store.rows(
        "select period, age_from, age_to from tally.moment where measure = 'weight' order by all"
    ) == [("2025Q1", 5, 99), ("2025Q1", 20, 39), ("2025Q2", 5, 99), ("2025Q2", 40, 99)]


def test_age_groups_may_change_on_the_night_on_which_people_come(accept, build, store):
    accept({}, {"participant": "p2", "measured_on": Q2})
    build()
    accept({"participant": "p3"}, {"measured_on": date(2025, 3, 1)})
    ages = Ages(groups=((5, 19), (20, 99)), totals=())
    other = SimpleNamespace(settings=SimpleNamespace(period="quarter", ages=ages))
    with store.transaction():
        build_readings(store, other)
        build_tallies(store, other)
    assert store.rows("select period, n from tally.moment where measure = 'weight' order by all") == [
        ("2025Q1", 2),
        ("2025Q2", 1),
    ]
    found = "select age_from, sum(n)::int from tally.band_of_ages where banding = 'bmi_adult' group by all"
    assert store.rows(found) == [(20, 3)]


def test_a_total_that_is_also_a_group_counts_once(accept, store):
    accept({})
    both = Ages(groups=((5, 19), (20, 99)), totals=((20, 99),))
    ages = SimpleNamespace(settings=SimpleNamespace(period="quarter", ages=both))
    with store.transaction():
        build_readings(store, ages)
        build_tallies(store, ages)
    assert store.rows("select n from tally.moment where measure = 'weight'") == [(1,)]


@pytest.mark.parametrize(
    ("spoil", "promise"),
    [
        ("update tally.value set n = n + 1 where measure = 'weight'", "tally_value_counts_everybody"),
        ("delete from tally.band where banding = 'bmi_adult'", "bands_cover_everybody"),
        ("update tally.moment set sum = sum + 1 where measure = 'height'", "moments_agree_with_values"),
        ("update ledger.file set rows_read = rows_read + 1", "file_accounting_adds_up"),
        ("update ledger.file set rows_held = 1, rows_read = rows_read + 1", "file_accounting_adds_up"),
        ("update reading.accepted set site = 'nowhere'", "sites_are_known"),
        ("insert into reading.set_aside values (99, 'sex_changes')", "no_orphan_set_aside"),
        ("update ledger.count_state set people = people + 1", "people_are_counted_once"),
    ],
)
def test_each_promise_names_who_breaks_it(accept, build, store, spoil, promise):
    accept(FULL)
    build()
    assert store.require_no_rows(f"checks/{promise}.sql", periods=None) == []
    store.execute(spoil)
    with pytest.raises(StoreFault, match="broken promise"):
        store.require_no_rows(f"checks/{promise}.sql", periods=None)
