"""Charts of analysers grown night by night are those of a store in which every period is worked out at once.

Invented readings; each way in which a past period can be touched, alone and in random order.
"""

from datetime import datetime, timedelta
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from pipeline import in_parts
from pipeline.programme import Profile, ProgrammeSettings
from pipeline.readings import build_readings
from pipeline.results.device import build_devices
from pipeline.results.instrument_check import build_instrument_checks
from pipeline.store import Store
from pipeline.tallies import build_tallies

SITES = ("aisle", "dock", "hall", "mill")  # nobody comes to the first until a night brings some
REQUIRED = {"participant": "id", "measured_on": "on", "sex": "sex", "age": "age"}
PROFILE = Profile.model_validate({
    "format": "csv",
    "columns": {name: {"header": header} for name, header in REQUIRED.items()}
    | {"weight": {"header": "kg", "unit": "kg"}, "height": {"header": "cm", "unit": "cm"}},
})  # fmt: skip
SETTINGS = ProgrammeSettings(name="Test", site=[{"id": s, "name": s, "profile": "p.toml"} for s in SITES])
PROGRAMME = SimpleNamespace(settings=SETTINGS, profiles=dict.fromkeys(SITES, PROFILE))
TABLES = (
    "result.device", "result.instrument_check", "tally.last_digit", "tally.file_in_last_digit", "tally.change_value",
    "tally.change_sum", "tally.change_contrast", "tally.analyser_chart",
)  # fmt: skip
COUNTED = ("reading.participant_period", "tally.value", "tally.moment", "tally.band", "tally.band_of_ages")
START = datetime(2024, 1, 10, 9)


class Grown:
    """A store of thirty women at each of three sites, once a quarter on one of two analysers, five quarters.

    The second analyser of mill shows 1.5 kg more from the fourth quarter on, so that a fault is known by the end.
    """

    def __init__(self, store, seed=1):
        self.store, self.random = store, np.random.default_rng(seed)
        self.weight = {f"{site}-{n}": 60.0 + n for site in SITES for n in range(60)}
        self.files = 0
        for quarter in range(5):
            for site in SITES[1:]:
                self.arrive(site, [f"{site}-{n}" for n in range(30)], quarter)
        self.night()

    def arrive(self, site, people, quarter, *, device=None, of=None, days=None, skip_fat=0.2):
        """A file of one reading a person; `of`: columns that are other than usual."""
        self.files += 1
        rows = []
        for line, person in enumerate(people, start=1):
            on = START + timedelta(
                days=91 * quarter + int(self.random.integers(0, 70) if days is None else days)
            )
            name = device or f"A{self.random.integers(1, 3)}"
            is_off = (site, name) == ("mill", "A2") and quarter >= 3
            weight = self.weight[person] - 0.4 * quarter + self.random.normal(0, 0.4) + 1.5 * is_off
            rows.append({
                "reading_id": self.files * 10**9 + line, "file_id": self.files, "line": line, "site": site,
                "participant": person, "measured_on": on.date(), "measured_at": on,
                "period": f"{on.year}Q{(on.month + 2) // 3}", "sex": "female", "age": 45,
                "height_cm": 164.5 + (7 * line + 3 * self.files) % 10 / 10,
                "weight_kg": round(weight, 1), "device": name, "clothing_weight_kg": 1.0, "is_athlete_mode": False,
                "body_fat_percent": None if self.random.random() < skip_fat else round(self.random.normal(31, 1), 1),
                "flags": [],
            } | (of or {}))  # fmt: skip
        types = {"flags": pl.List(pl.String), "body_fat_percent": pl.Float64}
        self._file(site, pl.DataFrame(rows, schema_overrides=types))

    def _file(self, site, frame):
        self.store.execute(
            """insert into ledger.file (file_id, run_id, site, name, sha256, bytes, received_at, state, rows_read,
                rows_accepted)
            values ($file, 1, $site, 'a.csv', $file::varchar, 1, '2025-08-01', 'accepted', $n, $n)""",
            {"file": self.files, "site": site, "n": frame.height},
        )
        with self.store.lent("given", frame):
            self.store.execute("insert into reading.accepted by name from given")

    def correct(self, person, quarter):
        """A later file gives the same moment another weight: the earlier reading leaves."""
        old = self.store.frame(
            "from reading.accepted where participant = $who order by measured_at limit 1 offset $nth",
            {"who": person, "nth": quarter},
        )
        self.store.execute(
            "update ledger.file set rows_accepted = rows_accepted - 1, rows_superseded = rows_superseded + 1 "
            "where file_id = $file",
            {"file": old["file_id"][0]},
        )
        for table in ("reading.set_aside", "reading.accepted"):
            self.store.execute(f"delete from {table} where reading_id = $id", {"id": old["reading_id"][0]})
        self.files += 1
        self._file(
            old["site"][0],
            old.with_columns(
                file_id=pl.lit(self.files),
                reading_id=pl.lit(self.files * 10**9 + 1),
                weight_kg=pl.col("weight_kg") + 0.7,
            ),
        )

    def leave(self, where, cause="withdrawn"):
        """As pipeline/removal does, of the readings that `where` finds."""
        self.store.execute(
            "create or replace temp table leaving_row as "
            f"select file_id, line, period, 'accepted' as outcome, '{cause}' as cause "
            f"from reading.accepted where {where}"
        )
        with self.store.lent(
            "kept_copy", pl.DataFrame(schema={"file_id": pl.Int32, "kept_sha256": pl.String})
        ):
            self.store.execute_file("25_row_removed.sql")

    def night(self, came="") -> list[str]:
        """Count what changed, and chart from the first touched period on; then all at once must say the same. The
        periods."""
        build_readings(self.store, PROGRAMME)
        build_tallies(self.store, PROGRAMME)
        stale = [
            period for (period,) in self.store.rows("select period from ledger.stale_period order by all")
        ]
        self.judge(stale)
        self.store.execute("delete from ledger.stale_period")
        grown = self.content()
        self.store.connection.begin()
        for table in COUNTED:
            self.store.execute(f"delete from {table}")
        self.store.execute("update ledger.file set is_built = false")
        build_readings(self.store, PROGRAMME)
        build_tallies(self.store, PROGRAMME)
        self.judge(None)
        whole = self.content()
        self.store.connection.rollback()
        for table in grown:
            assert grown[table] == whole[table], f"{table} after {came}"
        assert all(grown.values())
        return stale

    def judge(self, periods):
        build_devices(self.store, PROGRAMME, periods)
        build_instrument_checks(self.store, PROGRAMME, periods)

    def content(self):
        found = {table: self.store.rows(f"from {table} order by all") for table in (*COUNTED, *TABLES)}
        return found | {"people": self.store.rows("select people from ledger.count_state")}


@pytest.fixture
def grown():
    with Store.open(None) as store:
        yield Grown(store)


def test_it_is_a_programme_in_which_a_fault_is_known_and_taken_along(grown):
    faults = grown.store.rows(
        "select site, period, len(known) from tally.analyser_chart where len(known) > 0"
    )
    assert {site for site, _, _ in faults} == {"mill"} and {"2025Q1"} < {
        period for _, period, _ in faults
    } | {""}
    before = grown.content()
    grown.arrive("dock", ["dock-1"], 4, days=80)
    assert grown.night() == ["2025Q1"]
    after = grown.content()
    earlier = [row for row in before["result.device"] if row[3] < "2025Q1"]
    assert earlier == [row for row in after["result.device"] if row[3] < "2025Q1"]
    assert before != after


def late_reading(grown, n):
    """Of people who came again since: their next change begins at it."""
    grown.arrive("dock", [f"dock-{n}", f"dock-{n + 1}"], 2, days=75)


def earliest_reading(grown, n):
    """Before all others of these people: every stage of theirs may be another."""
    grown.arrive("hall", [f"hall-{n}"], -3)


def newly_set_aside(grown, n):
    """A second reading that disagrees with the first: both go, each in its own period. Then a third agrees with one."""
    grown.arrive("mill", [f"mill-{30 + n}"], 0)
    grown.night()
    grown.arrive("mill", [f"mill-{30 + n}"], 4, of={"sex": "male"})
    assert set(grown.night()) == {"2024Q1", "2025Q1"}
    grown.arrive("mill", [f"mill-{30 + n}"], 2)


def correction(grown, n):
    grown.correct(f"hall-{10 + n}", 1)


def withdrawal(grown, n):
    grown.leave(f"participant = 'dock-{n + 10}'")


def first_period_expired(grown, n):
    first = grown.store.value("select min(period) from reading.accepted")
    grown.leave(f"period = '{first}'", cause="expired")


def new_site_and_analyser(grown, n):
    """Both stand before all others in order of name; people of another site come too."""
    grown.arrive("aisle", [*(f"aisle-{i}" for i in range(10)), f"dock-{n + 20}"], 3, device="A0")
    grown.arrive("aisle", [*(f"aisle-{i}" for i in range(10)), f"dock-{n + 20}"], 4, device="A0")


def analyser_renamed_at_the_end(grown, n):
    grown.arrive("hall", [f"hall-{i}" for i in range(n, n + 8)], 4, device=f"A{n}-new", days=75)


def last_period_gone(grown, n):
    last = grown.store.value("select max(period) from reading.accepted")
    grown.leave(f"period = '{last}'", cause="expired")


def file_that_was_held_before(grown, n):
    """Its number is that of its first receipt, so that its readings come before those of later files."""
    files, grown.files = grown.files, -1 - n
    grown.arrive("hall", [f"hall-{n}", f"hall-{n + 1}"], 3)
    grown.files = files


WAYS = (
    late_reading, earliest_reading, newly_set_aside, correction, withdrawal, first_period_expired,
    new_site_and_analyser, analyser_renamed_at_the_end, last_period_gone, file_that_was_held_before,
)  # fmt: skip


@pytest.mark.parametrize("seed", range(2))
def test_each_way_of_touching_a_past_period_reaches_it_and_all_later_ones(seed):
    """One night each, in random order."""
    with Store.open(None) as store:
        grown = Grown(store, seed=10 + seed)
        for n, way in enumerate(grown.random.permutation(len(WAYS))):
            WAYS[way](grown, n)
            assert grown.night(WAYS[way].__name__)


def test_a_period_that_loses_its_only_readings_is_named_though_none_of_them_counted(grown):
    """Last digits are of accepted readings, whether they count or not."""
    grown.arrive("mill", ["mill-50"], -8)
    grown.arrive("mill", ["mill-50"], 4, of={"sex": "male"})
    grown.night()
    first = "2022Q1"
    assert grown.store.value(f"select count(*) from reading.accepted where period = '{first}'") == 1
    assert grown.store.value(f"select count(*) from reading.participant_period where period = '{first}'") == 0
    assert grown.store.value(f"select count(*) from result.instrument_check where period = '{first}'") > 0
    grown.leave(f"period = '{first}'", cause="expired")
    assert first in grown.night()
    assert grown.store.value(f"select count(*) from result.instrument_check where period = '{first}'") == 0


def test_a_night_that_touches_no_reading_leaves_the_charts_and_counts_rows(grown):
    before = grown.content()
    grown.judge([])
    assert grown.content() == before


def test_a_part_of_people_and_of_sites_after_the_other_gives_what_all_at_once_do(grown, monkeypatch):
    at_once = grown.content()
    monkeypatch.setattr(in_parts, "READINGS_AT_A_TIME", 70)
    readings = grown.store.value("select count(*) from reading.accepted")
    assert in_parts.parts_of_people(grown.store) == 1 + readings // 70 > 2
    grown.judge(None)
    assert grown.content() == at_once
    newly_set_aside(grown, 1)
    new_site_and_analyser(grown, 2)
    assert grown.night("a night in parts")


@pytest.mark.parametrize(
    ("held", "together"),
    [
        ([], []),
        ([("a", 9)], [("a", "a")]),
        ([("a", 2), ("b", 3), ("c", 1)], [("a", "b"), ("c", "c")]),
        ([("a", 1), ("b", 9), ("c", 1), ("d", 4)], [("a", "a"), ("b", "b"), ("c", "d")]),
    ],
)
def test_sites_go_together_up_to_so_many(held, together):
    assert list(in_parts.sites_together(held, at_most=5)) == together
