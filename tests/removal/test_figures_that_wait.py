"""Curves, analysers and outcomes wait for their day, say so, and rest on what had come by one run and nothing else."""

import io
import json
import random

import pytest
from invented_programme import FORMATS, PERSON, Invented, invented, others

from dashboards.english import ENGLISH
from pipeline.results.curve import build_curves
from pipeline.waiting_figures import said_of

OVER_PERIODS = (
    "reading.visit", "reading.repeat", "tally.person_value", "tally.change_value", "tally.change_sum",
    "tally.change_contrast", "tally.analyser_chart", "result.curve", "result.percentile_curve", "result.device",
    "result.outcome", "result.outcome_site", "result.retention", "result.retention_balance", "result.transition",
    "result.measurement_error",
)  # fmt: skip
OF_PERIODS = (
    "reading.accepted", "reading.participant_period", "tally.value", "result.prevalence", "result.trend",
    "result.instrument_check", "result.data_quality",
)  # fmt: skip
FIRST, SAME_WEEK, NEXT_WEEK = "2025-07-10", "2025-07-16", "2025-07-17"
WAIT = "[results]\nover_periods_every_days = 7\n"


def people_alone(store, *_):
    """What curves are made of, and no curves: these take most of a run's time."""
    for name in ("34_last_person_value", "35_tally_person_value"):
        store.execute_file(f"{name}.sql")


@pytest.fixture(scope="module", autouse=True)
def quick_runs():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dashboards.build_pages", lambda folder: [])
        patch.setattr("pipeline.results.over_periods.build_curves", people_alone)
        yield


@pytest.fixture
def curves(monkeypatch):
    monkeypatch.setattr("pipeline.results.over_periods.build_curves", build_curves)


def run(programme: Invented, day: str, *more: str) -> None:
    assert programme.run("run", str(programme.folder), "--as-of", day, *more) == 0


def rows(programme: Invented, tables: tuple[str, ...]) -> dict[str, list[tuple]]:
    with programme.opened() as store:
        return {table: store.rows(f"from {table} order by all") for table in tables}


def record(programme: Invented) -> dict:
    return json.loads((programme.folder / "published" / "latest" / "release.json").read_text())


def more_readings(programme: Invented) -> None:
    programme.put("north-quay", "b.csv", others(1000, "2025-06-03", 30))


@pytest.fixture
def programme(tmp_path) -> Invented:
    made = invented(tmp_path / "programme", WAIT)
    made.put("gull-yard", "0.ndjson", others(4000, "2024-11-05", 35))  # seen again after three months
    run(made, FIRST)
    return made


def test_they_stay_to_the_digit_until_their_day_and_every_place_says_so(curves, programme, capsys):
    before, moving = rows(programme, OVER_PERIODS), rows(programme, OF_PERIODS)
    assert before["result.outcome"] and before["result.curve"] and "over_periods" not in record(programme)
    more_readings(programme)
    capsys.readouterr()
    run(programme, SAME_WEEK)
    assert rows(programme, OVER_PERIODS) == before
    now = rows(programme, OF_PERIODS)
    assert all(now[table] != moving[table] for table in OF_PERIODS)
    assert f"rest on what had come by {FIRST}" in capsys.readouterr().out
    assert record(programme)["over_periods"] == {"as_of": FIRST, "written": "10 July 2025"}
    package = json.loads((programme.folder / "published/latest/data/datapackage.json").read_text())
    assert f"rest on what had come by {FIRST}" in package["description"]
    assert ENGLISH["stamp.waiting"].lower() == f"{said_of('{day}')}."  # pages import nothing of the pipeline
    assert programme.run("status", str(programme.folder)) == 0
    assert f"rest on what had come by {FIRST}; the first run from {NEXT_WEEK} on" in capsys.readouterr().out
    assert programme.run("status", str(programme.folder), "--json") == 0
    assert json.loads(capsys.readouterr().out)["over_periods"] == {"as_of": FIRST, "due_on": NEXT_WEEK}


@pytest.mark.parametrize(("day", "more"), [(NEXT_WEEK, ()), (SAME_WEEK, ("--all-figures",))])
def test_on_their_day_or_when_asked_for_they_are_those_of_a_programme_that_never_waited(
    programme, tmp_path, day, more
):
    never = invented(tmp_path / "never")
    never.put("gull-yard", "0.ndjson", others(4000, "2024-11-05", 35))
    (never.store).mkdir()
    (never.store / "pseudonym.key").write_bytes((programme.store / "pseudonym.key").read_bytes())
    (never.store / "pseudonym.key").chmod(0o600)
    run(never, FIRST)
    for one in (programme, never):
        more_readings(one)
    run(programme, SAME_WEEK)
    run(never, SAME_WEEK)
    assert rows(programme, OVER_PERIODS) != rows(never, OVER_PERIODS)
    run(programme, day, *more)
    assert rows(programme, OVER_PERIODS) == rows(never, OVER_PERIODS)
    assert "over_periods" not in record(programme) and "over_periods" not in record(never)


def test_a_day_early_is_too_early(programme):
    more_readings(programme)
    run(programme, SAME_WEEK)
    before = rows(programme, OVER_PERIODS)
    run(programme, SAME_WEEK)
    assert rows(programme, OVER_PERIODS) == before
    run(programme, NEXT_WEEK)
    assert rows(programme, OVER_PERIODS) != before


def test_their_day_comes_though_no_file_does_and_where_nothing_waits_nothing_is_worked_out(programme, monkeypatch):
    asked = []
    monkeypatch.setattr("pipeline.results.over_periods.build_outcomes", lambda *_: asked.append(1))
    run(programme, NEXT_WEEK)
    assert asked == []
    more_readings(programme)
    run(programme, NEXT_WEEK)  # that of the first run: a week has gone by
    assert asked == [1]
    programme.put("north-quay", "c.csv", others(1500, "2025-06-04", 20))
    run(programme, "2025-07-18")
    assert asked == [1]
    run(programme, "2025-07-24")
    assert asked == [1, 1]


def test_whoever_withdraws_is_out_of_them_at_once(programme, monkeypatch):
    more_readings(programme)
    run(programme, SAME_WEEK)
    before = rows(programme, ("tally.person_value",))["tally.person_value"]
    monkeypatch.setattr("sys.stdin", io.StringIO(PERSON + "\n"))
    programme.run("withdraw", str(programme.folder), "--as-of", SAME_WEEK)
    after = rows(programme, ("tally.person_value", "reading.participant_period"))
    everybody = {participant for participant, *_ in after["reading.participant_period"]}
    with programme.opened() as store:
        counted = store.value("select sum(n) from tally.person_value where measure = 'weight'")
        assert store.rows("from ledger.over_periods_stale") == []
    assert counted == len(everybody) and after["tally.person_value"] != before


def test_a_run_that_is_killed_before_its_results_leaves_the_day_to_the_next(programme, monkeypatch):
    more_readings(programme)

    def killed(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("pipeline.results.over_periods.build_outcomes", killed)
        assert programme.run("run", str(programme.folder), "--as-of", NEXT_WEEK) == 1
    before = rows(programme, OVER_PERIODS)
    run(programme, NEXT_WEEK)
    assert rows(programme, OVER_PERIODS) != before
    assert programme.run("rebuild", str(programme.folder), "--check") == 0


@pytest.mark.parametrize("seed", range(2))
def test_a_rebuilt_store_rests_on_the_same_files_after_any_sequence_of_nights(programme, monkeypatch, capsys, seed):
    chance = random.Random(seed)
    for step in range(4):
        site = chance.choice(sorted(FORMATS))
        kind = chance.choice(["arrival", "correction", "withdrawal"] if step == 1 else ["arrival", "correction"])
        people = others(1000, f"2025-0{chance.randint(1, 6)}-03", 30)
        if kind == "correction":
            people = [(*row[:5], f"{float(row[5]) + 1:.1f}", row[6]) for row in people[: chance.randint(1, 20)]]
        day = f"2025-07-{10 + 3 * (step + 1)}"
        if kind == "withdrawal":
            monkeypatch.setattr("sys.stdin", io.StringIO("1003\n"))
            programme.run("withdraw", str(programme.folder), "--as-of", day)
        else:
            programme.put(site, f"{step}.{FORMATS[site]}", people)
            run(programme, day)
    before = rows(programme, OVER_PERIODS + OF_PERIODS)
    with programme.opened() as store:
        state = store.rows("from ledger.over_periods_state"), store.rows("from ledger.over_periods_stale order by all")
    assert state[1]
    capsys.readouterr()
    assert programme.run("rebuild", str(programme.folder), "--check") == 0, capsys.readouterr().out
    assert programme.run("rebuild", str(programme.folder)) == 0
    assert rows(programme, OVER_PERIODS + OF_PERIODS) == before
    with programme.opened() as store:
        assert store.rows("from ledger.over_periods_state") == state[0]
        assert store.rows("from ledger.over_periods_stale order by all") == state[1]
    run(programme, "2025-08-20")
    assert programme.run("rebuild", str(programme.folder), "--check") == 0, capsys.readouterr().out


def test_a_store_that_is_gone_comes_back_with_them_as_they_were(programme):
    more_readings(programme)
    run(programme, SAME_WEEK)
    before = rows(programme, OVER_PERIODS + OF_PERIODS)
    (programme.store / "evenbeam.duckdb").unlink()
    assert programme.run("rebuild", str(programme.folder)) == 0
    assert rows(programme, OVER_PERIODS + OF_PERIODS) == before
    run(programme, NEXT_WEEK)
    assert rows(programme, OVER_PERIODS) != {table: before[table] for table in OVER_PERIODS}
