"""One row a person and follow-up: entry, windows, what became of whom, exact 5 %, repeats. Invented readings."""

from datetime import date, datetime, timedelta
from types import SimpleNamespace

import polars as pl
import pytest

from pipeline.faults import StoreFault
from pipeline.readings import load_reference
from pipeline.store import sql_text
from pipeline.visits import MOST_DAYS, build_visits, site_starts

ENTRY = date(2024, 1, 10)
WINDOWS = pl.DataFrame(
    [(3, 91, 30), (6, 183, 45)],
    schema={"months": pl.Int16, "day": pl.Int32, "tolerance_days": pl.Int32},
    orient="row",
)
LB = 0.45359237


@pytest.fixture
def follow_up(store):
    """Rows of outcome_follow_up and outcome_change by participant and months, of the readings accepted so far."""

    def run(starts=None, hours=12, signals=()):
        sites = [
            SimpleNamespace(id=site, kind="gym", started=(starts or {}).get(site))
            for site in ("east-pier", "north-quay")
        ]
        settings = SimpleNamespace(
            period="quarter", site=sites, outcomes=SimpleNamespace(same_visit_hours=hours)
        )
        for site, device, period, difference, signal in signals:
            store.execute(
                "insert into result.device (site, device, measure, period, n, difference, decision, signal, method) "
                f"values ('{site}', '{device}', 'weight', '{period}', 50, {difference}, 5, '{signal}', '')"
            )
        programme = SimpleNamespace(settings=settings)
        store.execute("insert or ignore into ledger.file_without_visits select distinct file_id from reading.accepted")
        build_visits(store, programme)
        least = pl.DataFrame({"measure": ["weight", "body_fat_percent"], "least": [1.5, 3.0]})
        with (
            store.lent("site_start", site_starts(programme)),
            store.lent("follow_up_window", WINDOWS),
            store.lent("reliable_change", least),
        ):
            for table in ("site", "analyser", "follow_up", "due", "change"):
                store.execute_file(f"57_outcome_{table}.sql")
            store.require_no_rows(COMPLETE)
        return {(row["participant"], row["months"]): row for row in store.frame(ROWS).iter_rows(named=True)}

    return run


# a row a person and follow-up, with the reading that stands for it
ROWS = """
    select
        accepted.participant, follow_up.* replace (status_of(status) as status),
        change.* exclude (person, months, visit, class), stage_of(follow_up.class) as stage,
        entry.weight_kg as entry_weight_kg, later.weight_kg
    from outcome_follow_up as follow_up
    join reading.visit as entry on entry.person = follow_up.person and entry.visit = 1
    join reading.accepted as accepted on accepted.reading_id = follow_up.person
    left join outcome_change as change on change.person = follow_up.person and change.months = follow_up.months
    left join reading.visit as later on later.person = follow_up.person and later.visit = follow_up.visit
    order by participant, months
"""
COMPLETE = "checks/outcome_follow_up_is_complete.sql"
OF_PERSON = """
    select count(*) from reading.visit
    join reading.accepted as accepted on accepted.reading_id = person where participant = 'p' and visit is not null
"""


def on(days, **given):
    return {"measured_on": ENTRY + timedelta(days=days)} | given


def ends(accept, site="north-quay", days=700):
    """Somebody else's late reading: the site and the programme go on."""
    accept(on(days, participant=f"late-{site}"), site=site)


def test_the_nearest_reading_within_the_tolerance_stands_for_a_follow_up(accept, follow_up):
    ends(accept)
    accept(
        on(0, participant="near", weight_kg=80.0),
        on(75, participant="near", weight_kg=79.0),
        on(100, participant="near", weight_kg=78.0),
        on(0, participant="tie"),
        on(81, participant="tie", weight_kg=64.0),
        on(101, participant="tie", weight_kg=63.0),
        on(0, participant="inside"),
        on(61, participant="inside"),
        on(0, participant="outside"),
        on(60, participant="outside"),
        on(0, participant="last"),
        on(121, participant="last"),
        on(0, participant="past"),
        on(122, participant="past"),
    )
    rows = follow_up()
    assert rows["near", 3]["weight_change"] == -2000  # thousandths of a kilogram
    assert rows["tie", 3]["weight_kg"] == 64.0  # of two as near, the earlier
    seen = {who: rows[who, 3]["is_seen"] for who in ("inside", "outside", "last", "past")}
    assert seen == {"inside": True, "outside": False, "last": True, "past": False}


def test_what_became_of_everybody(store, accept, follow_up):
    ends(accept)
    accept(on(95, participant="moved"), site="east-pier")
    accept(on(100, participant="late-east-pier"), on(0, participant="silent"), site="east-pier")
    ids = accept(
        on(0, participant="stayed"),
        on(91, participant="stayed"),
        on(0, participant="moved"),
        on(0, participant="doubted"),
        on(90, participant="doubted", weight_kg=140.0),
        on(0, participant="missed"),
        on(150, participant="missed"),
        on(0, participant="gone"),
        on(20, participant="gone"),
        on(600, participant="new"),
    )
    store.execute("insert into reading.set_aside values ($id, 'weight_jump')", {"id": ids[4]})
    rows = follow_up()
    found = {
        who: rows[who, 3]["status"]
        for who in ("stayed", "moved", "doubted", "missed", "gone", "new", "silent")
    }
    assert found == {
        "stayed": "seen",
        "moved": "seen_elsewhere",
        "doubted": "not_counted",
        "missed": "missed",
        "gone": "gone",
        "new": "not_due",
        "silent": "site_silent",
    }
    assert rows["missed", 6]["status"] == "seen"  # 150 days are within six months less 45 days
    undue = {who for (who, months), row in rows.items() if months == 3 and not row["is_due"]}
    assert undue == {"new", "silent", "late-north-quay", "late-east-pier"}


@pytest.mark.parametrize(
    "broken",
    [
        "delete from outcome_follow_up where months = 6 and person = (select min(person) from outcome_follow_up)",
        "insert into outcome_follow_up from outcome_follow_up where months = 3 limit 1",
        "update outcome_follow_up set person = (select min(person) from outcome_follow_up) where months = 3",
        "delete from outcome_change",
    ],
)
def test_a_follow_up_that_is_lost_or_there_twice_stops_the_run(store, accept, follow_up, broken):
    ends(accept)
    accept(on(0, participant="p"), on(91, participant="p"))
    follow_up()
    store.execute(broken)
    with store.lent("follow_up_window", WINDOWS), pytest.raises(StoreFault, match="broken promise"):
        store.require_no_rows(COMPLETE)


def test_a_follow_up_is_due_on_the_day_its_window_closes(accept, follow_up):
    accept(on(0, participant="a"), on(120, participant="z"))
    assert follow_up()["a", 3]["status"] == "not_due"
    accept(on(121, participant="z"))
    assert follow_up()["a", 3]["status"] == "gone"


def test_the_programme_begins_with_its_start_at_the_site(accept, follow_up):
    ends(accept)
    accept(
        on(0, participant="p", weight_kg=90.0),
        on(50, participant="p", weight_kg=88.0),
        on(141, participant="p", weight_kg=86.0),
    )
    assert follow_up()["p", 3]["entry_weight_kg"] == 90.0
    begun = follow_up({"north-quay": ENTRY + timedelta(days=50)})["p", 3]
    assert (begun["entry_weight_kg"], begun["weight_change"]) == (88.0, -2000)
    assert follow_up({"north-quay": ENTRY + timedelta(days=51)})["p", 3]["entry_weight_kg"] == 86.0


@pytest.mark.parametrize(
    ("before", "after", "lost"),
    [
        (80.0, 76.0, True),
        (80.0, 76.1, False),
        (66.0, 62.7, True),
        (66.0, 62.8, False),
        (200.0 * LB, 190.0 * LB, True),
        (200.0 * LB, 190.2 * LB, False),
        (230.0 * LB, 218.5 * LB, True),
    ],
)
def test_five_percent_is_decided_exactly(accept, follow_up, before, after, lost):
    ends(accept)
    accept(on(0, participant="p", weight_kg=before), on(91, participant="p", weight_kg=after))
    assert follow_up()["p", 3]["lost_5_percent"] is lost


def test_every_printable_five_percent_is_decided_exactly(store):
    # whole tenths against exact fractions: 20 tenths of the loss against tenths of the weight
    rows = store.frame(
        "select b, b - l as a, 20 * (round(b / 10 * 1e10)::bigint - round((b - l) / 10 * 1e10)::bigint) "
        ">= round(b / 10 * 1e10)::bigint as lost from range(100, 3000) as x(b), range(0, 160) as y(l) where l < b"
    )
    wrong = rows.filter(pl.col("lost") != (20 * (pl.col("b") - pl.col("a")) >= pl.col("b")))
    assert rows.height > 400_000 and wrong.is_empty()


def test_readings_of_one_visit_count_once_and_the_first_stands_for_it(store, accept, follow_up):
    ends(accept)
    at = datetime(2024, 1, 10, 8)
    accept(
        on(0, participant="p", measured_at=at, weight_kg=80.0),
        on(0, participant="p", measured_at=at + timedelta(hours=12), weight_kg=80.4),
        on(91, participant="p", weight_kg=79.0),
    )
    assert follow_up(hours=12)["p", 3]["weight_change"] == -1000
    assert store.value(OF_PERSON) == 2
    repeats = store.frame(sql_text("57_outcome_repeat.sql")).filter(measure="weight")
    assert repeats.rows() == [
        ("weight", 1, pytest.approx(0.16), pytest.approx(160.4), pytest.approx(12864.16))
    ]
    follow_up(hours=11)
    assert store.value(OF_PERSON) == 3
    assert store.frame(sql_text("57_outcome_repeat.sql")).is_empty()


def test_three_readings_of_a_visit_are_one_pair(store, accept, follow_up):
    at = datetime(2024, 1, 10, 8)
    accept(
        *(
            on(0, participant="p", measured_at=at + timedelta(minutes=5 * i), weight_kg=80.0 + i)
            for i in range(3)
        )
    )
    follow_up()
    found = store.frame(sql_text("57_outcome_repeat.sql")).filter(measure="weight")
    assert found["n"].to_list() == [1] and found["dd"].to_list() == [1.0]


def test_the_wobble_is_the_distance_from_the_line_between_two_visits(store, accept, follow_up):
    # a fifth of the time gone: on the line 79.6, read 80.1; variance factor 1 + 0.8² + 0.2² = 1.68
    a_fifth, last = MOST_DAYS // 5, MOST_DAYS
    for who, end in (("near", last), ("far", last + 1)):  # the outer two at most so far apart
        accept(
            on(0, participant=who, weight_kg=80.0),
            on(a_fifth, participant=who, weight_kg=80.1),
            on(end, participant=who, weight_kg=78.0),
        )
    follow_up()
    found = store.frame(sql_text("57_outcome_wobble.sql")).filter(measure="weight")
    assert found["n"].to_list() == [1]
    assert found["rr"].item() == pytest.approx(0.5**2 / 1.68, abs=1e-3)


def test_a_visit_without_a_composition_is_no_neighbour_of_one_with_it(store, accept, follow_up):
    fat = {"body_fat_percent": 30.0}
    accept(
        on(0, participant="p", **fat),
        on(30, participant="p"),
        on(60, participant="p", body_fat_percent=33.0),
        on(120, participant="p", **fat),
    )
    follow_up()
    found = {row[0]: row[1:] for row in store.frame(sql_text("57_outcome_wobble.sql")).rows()}
    # half of the time gone: 3 off the line, variance factor 1.5; weight has two visits in the middle
    assert found["body_fat_percent"][:2] == (1, pytest.approx(3**2 / 1.5, abs=1e-2))
    assert found["weight"][:2] == (2, 0.0)


def test_children_are_judged_by_z_and_by_nothing_else(store, accept, follow_up):
    load_reference(store)
    ends(accept)
    accept(
        on(0, participant="child", age=10, weight_kg=40.0, height_cm=140.0),
        on(91, participant="child", age=10, weight_kg=36.0, height_cm=141.0),
        on(0, participant="grown", age=19, weight_kg=70.0),
        on(91, participant="grown", age=20, weight_kg=70.0),
    )
    rows = follow_up()
    assert rows["child", 3]["stage"] == "children"
    assert rows["child", 3]["bmi_z_change"] < -500
    assert rows["grown", 3]["stage"] == "children" and rows["grown", 3]["bmi_z_change"] is None
    store.execute("create temp table outcome_weight (person bigint, months smallint, weight bigint)")
    store.execute_file("57_outcome_seen.sql")
    moments = store.frame(sql_text("57_outcome_moment.sql")).filter(stage="children")
    assert moments["measure"].unique().to_list() == ["bmi_z_change"]
    assert (moments["n_due"].sum(), moments["n"].sum()) == (4, 1)  # two follow-ups; who grew up has no z


def test_analysers_with_a_signal_are_marked_and_differences_taken_where_two_are_named(accept, follow_up):
    ends(accept)
    accept(
        on(0, participant="p", device="n-1"),
        on(91, participant="p", device="n-2"),
        on(0, participant="q", device="n-1"),
        on(91, participant="q", device="n-1"),
    )
    signals = [
        ("north-quay", "n-1", "2024Q1", 0.1, ""),
        ("north-quay", "n-1", "2024Q2", 0.2, ""),
        ("north-quay", "n-2", "2024Q2", 0.9, "shift"),
    ]
    rows = follow_up(signals=signals)
    assert (rows["p", 3]["is_doubtful"], rows["q", 3]["is_doubtful"]) == (True, False)
    taken_off = {who: rows[who, 3]["weight_change"] - rows[who, 3]["weight_change_levelled"] for who in "pq"}
    assert taken_off == {"p": 800, "q": 100}


def test_a_lone_analyser_takes_nothing_off(accept, follow_up):
    ends(accept)
    accept(on(0, participant="p", device="n-1"), on(91, participant="p", device="n-1"))
    signals = [("north-quay", "n-1", "2024Q1", 0.0, ""), ("north-quay", "n-1", "2024Q2", -2.0, "drift")]
    row = follow_up(signals=signals)["p", 3]
    assert row["weight_change_levelled"] is None and row["is_doubtful"]
