"""Visits kept from run to run are those that would be worked out anew from the readings, whatever came or went."""

import random
from datetime import date, datetime, timedelta
from types import SimpleNamespace

import polars as pl
import pytest

from pipeline import in_parts
from pipeline.readings import build_readings
from pipeline.visits import build_visits

SITES = ("east-pier", "gull-yard", "north-quay")
DAY = date(2025, 1, 6)


class Programme:
    """A store and the settings that visits rest on, and a run after every change of either."""

    def __init__(self, store, accept):
        self.store, self.accept, self.people = store, accept, 0
        self.started, self.hours, self.period = dict.fromkeys(SITES), 12, "quarter"

    @property
    def programme(self):
        sites = [SimpleNamespace(id=site, kind="gym", started=self.started[site]) for site in SITES]
        outcomes = SimpleNamespace(same_visit_hours=self.hours)
        settings = SimpleNamespace(period=self.period, site=sites, outcomes=outcomes)
        return SimpleNamespace(settings=settings)

    def run(self):
        with self.store.transaction():
            build_readings(self.store, self.programme)
            self.store.execute_file("36_stale_period.sql")  # as build_tallies ends
            self.store.execute("update ledger.file set is_built = true")
            build_visits(self.store, self.programme)

    def visits(self):
        return [self.store.rows(f"from reading.{table} order by all") for table in ("visit", "repeat")]

    def visits_of_all_anew(self):
        self.store.connection.begin()
        try:
            self.store.execute("delete from ledger.visit_state")
            build_visits(self.store, self.programme)
            return self.visits()
        finally:
            self.store.connection.rollback()

    def leave(self, where):
        """As a run removes rows."""
        self.store.execute(
            "create or replace temp table leaving_row as select file_id, line, period, 'accepted' as outcome, "
            f"'withdrawn' as cause from reading.accepted where {where}"
        )
        copies = pl.DataFrame(schema={"file_id": pl.Int32, "kept_sha256": pl.String})
        with self.store.transaction(), self.store.lent("kept_copy", copies):
            self.store.execute_file("25_row_removed.sql")

    def any_reading(self, chance):
        columns = "participant, site, measured_at, reading_id, age"
        return chance.choice(self.store.rows(f"select {columns} from reading.accepted order by reading_id"))


def arrival(made, chance):
    """New people, each a few times, some before they are 20 and some without a composition."""
    rows = []
    for _ in range(chance.randint(1, 4)):
        made.people += 1
        at = datetime(2025, 1, 6, 9) + timedelta(days=chance.randrange(200))
        age, fat = chance.choice([12, 35, 61]), chance.choice([None, 30.0])
        for _ in range(chance.randint(1, 5)):
            weight = 65 + chance.randint(-9, 9) / 10
            rows.append(reading(f"p{made.people}", at, age=age, body_fat_percent=fat, weight_kg=weight))
            at += timedelta(days=chance.choice([0, 0, 9, 40, 80, 95]), minutes=chance.choice([5, 600, 721, 1500]))
    made.accept(*rows, site=chance.choice(SITES))


def reading(participant, at, **given):
    return {"participant": participant, "measured_on": at.date(), "measured_at": at, "device": "A"} | given


def repeat(made, chance):
    """Somebody known steps on again, a little before or after, perhaps at another site."""
    participant, _, at, _, age = made.any_reading(chance)
    at += timedelta(minutes=chance.choice([-300, -4, 4, 719, 720, 721]))
    made.accept(reading(participant, at, age=age), site=chance.choice(SITES))


def odd(made, chance):
    """A reading that does not fit: it is set aside, or takes the one it disagrees with along."""
    participant, site, at, _, age = made.any_reading(chance)
    at += timedelta(days=chance.choice([-20, 20]))
    made.accept(reading(participant, at, age=age, weight_kg=130.0), site=site)


def correction(made, chance):
    """A reading is replaced, as 14_reading_superseded.sql does it; here it may also move to another day."""
    participant, site, at, reading_id, age = made.any_reading(chance)
    for table in ("set_aside", "accepted"):
        made.store.execute(f"delete from reading.{table} where reading_id = $id", {"id": reading_id})
    at += timedelta(days=chance.choice([0, 30]))
    made.accept(reading(participant, at, age=age, weight_kg=66.0), site=site)


def withdrawal(made, chance):
    participant, *_ = made.any_reading(chance)
    made.leave(f"participant = '{participant}'")


def expiry(made, chance):
    made.leave("period = (select min(period) from reading.accepted having count(distinct period) > 2)")


def start(made, chance):
    made.started[chance.choice(SITES)] = chance.choice([None, DAY + timedelta(days=chance.randrange(150))])


def hours(made, chance):
    made.hours = chance.choice([1, 12, 24])


def months(made, chance):
    made.period = chance.choice(["quarter", "month"])


KINDS = (arrival, repeat, odd, correction, withdrawal, expiry, start, hours, months)


@pytest.mark.parametrize("seed", range(2))
def test_kept_visits_are_those_made_anew_after_any_sequence_of_changes(store, accept, seed):
    chance, made = random.Random(seed), Programme(store, accept)
    for _ in range(8):
        arrival(made, chance)
    made.run()
    kinds, most = [*KINDS, *KINDS], [0, 0, 0]
    chance.shuffle(kinds)
    for change in kinds:
        change(made, chance)
        made.run()
        assert made.visits() == made.visits_of_all_anew(), change
        rows, repeats = made.visits()
        most = [*map(max, most, (len(rows), len(repeats), sum(visit is None for _, visit, *_ in rows)))]
    assert all(most)  # there were repeats and readings set aside, too


def test_a_part_of_the_people_after_the_other_gives_the_visits_of_all_at_once(store, accept, monkeypatch):
    chance, made = random.Random(5), Programme(store, accept)
    for _ in range(12):
        arrival(made, chance)
    for change in (repeat, repeat, odd, odd):
        change(made, chance)
    made.run()
    at_once = made.visits()
    assert all(at_once) and len({person for person, *_ in at_once[0]}) > 10
    monkeypatch.setattr(in_parts, "READINGS_AT_A_TIME", 9)
    assert made.visits_of_all_anew() == at_once


def test_only_the_people_of_new_files_are_written_anew(store, accept):
    made = Programme(store, accept)
    at = datetime(2025, 1, 6, 9)
    accept(*(reading(who, at + timedelta(days=90 * n)) for who in ("p", "q") for n in range(3)))
    made.run()
    before = made.visits()
    store.execute("update reading.visit set weight_kg = 1 where visit = 2")  # a mark, which whoever is touched loses
    accept(reading("q", at + timedelta(days=300)))
    made.run()
    marked = """select participant from reading.visit join reading.accepted on reading_id = person
        where visit.weight_kg = 1"""
    assert store.rows(marked) == [("p",)]
    made.hours = 24  # rests on settings, too: everybody is
    made.run()
    assert store.rows(marked) == [] and len(made.visits()[0]) == len(before[0]) + 1


def test_who_withdraws_has_no_visit_from_then_on(store, accept):
    made = Programme(store, accept)
    at = datetime(2025, 1, 6, 9)
    for who in ("p", "q"):
        accept(*(reading(who, at + timedelta(days=days, minutes=days // 9)) for days in (0, 90, 180)))
        accept(reading(who, at + timedelta(minutes=3)))
    made.run()
    before, repeats = (len(rows) for rows in made.visits())
    made.leave("participant = 'p'")
    assert [len(rows) for rows in made.visits()] == [before // 2, repeats // 2] == [3, 1]


def test_who_has_no_reading_that_counts_has_no_visit(store, accept):
    made = Programme(store, accept)
    at = datetime(2025, 1, 6, 9)
    accept(reading("p", at), reading("p", at + timedelta(days=30), weight_kg=130.0))
    made.run()
    assert store.value("select count(*) from reading.set_aside") == 2 and made.visits() == [[], []]
    accept(reading("p", at + timedelta(days=60)))  # two of three agree
    made.run()
    assert store.rows("select visit, days from reading.visit order by days") == [(1, 0), (None, 30), (2, 60)]
