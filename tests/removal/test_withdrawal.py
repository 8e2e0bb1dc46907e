"""Somebody withdraws: every row of theirs leaves every byte of the store, and every account still adds up."""

from __future__ import annotations

import io
import shutil

import pytest
from invented_programme import FORMATS, PERSON, Invented, invented, of_person, others, profile

from pipeline import flow, running
from pipeline.intake import tombstones
from pipeline.removal import erasing
from pipeline.store import Store

DAY = ("--as-of", "2025-07-10")


def withdraw(programme: Invented, monkeypatch, number: str = PERSON, *more: str) -> int:
    monkeypatch.setattr("sys.stdin", io.StringIO(number + "\n"))
    return programme.run("withdraw", str(programme.folder), *DAY, *more)


def test_the_person_stands_everywhere_before_so_that_the_search_can_find_something(run_once):
    assert len([name for name in run_once.is_anywhere(PERSON) if name.startswith("archive/")]) == 4
    assert run_once.is_anywhere(run_once.pseudonym()) == ["evenbeam.duckdb"]


def test_no_byte_of_the_store_tells_of_who_withdrew(programme, monkeypatch):
    assert withdraw(programme, monkeypatch) == 0
    assert programme.is_anywhere(PERSON) == []
    assert programme.is_anywhere(programme.pseudonym()) == []
    assert not list(programme.store.glob("*.wal")) and not list(programme.store.glob("*.anew"))


def test_every_row_moves_within_its_files_account(programme, monkeypatch):
    withdraw(programme, monkeypatch)
    # north-quay: of accepted, duplicate, superseded and held one each; its broken line tells nobody and stays held
    assert programme.accounts() == [
        ("east-pier/a.xlsx", 82, 80, 0, 0, 0, 2, 0),
        ("gull-yard/a.ndjson", 82, 80, 0, 0, 0, 2, 0),
        ("mill-lane/a.parquet", 82, 80, 0, 0, 0, 2, 0),
        ("north-quay/a.csv", 45, 40, 1, 0, 0, 4, 0),
    ]


def test_chosen_readings_tallies_and_results_are_those_of_a_programme_without_the_person(
    programme, monkeypatch, tmp_path
):
    withdraw(programme, monkeypatch)
    without = invented(tmp_path / "without")
    rows = others(1000, "2025-02-03")
    without.put("north-quay", "a.csv", rows, broken="1,2025-03-02,F")
    for n, site in enumerate(("east-pier", "mill-lane", "gull-yard"), start=2):
        both = [*others(1000 * n, "2025-02-10"), *others(1000 * n, "2025-05-10")]
        without.put(site, f"a.{FORMATS[site]}", both)
    without.run("run", str(without.folder), *DAY)
    for table in ("tally.value", "tally.band", "tally.moment", "result.prevalence", "result.data_quality"):
        with programme.opened() as mine, without.opened() as theirs:
            assert mine.rows(f"from {table} order by all") == theirs.rows(f"from {table} order by all"), table
    for table in ("prevalence", "percentile", "data_quality"):
        assert (programme.folder / f"published/latest/data/{table}.csv").read_bytes() == (
            without.folder / f"published/latest/data/{table}.csv"
        ).read_bytes()


def test_the_record_says_when_and_how_many_and_of_which_files_and_not_who(programme, monkeypatch):
    withdraw(programme, monkeypatch)
    with programme.opened() as store:
        assert store.rows("select as_of, cause, rows, is_erased from ledger.removal") == [
            (store.value("select date '2025-07-10'"), "withdrawal", 10, True)
        ]
        assert store.rows("select rows from ledger.removal_file order by file_id") == [(2,), (2,), (2,), (4,)]


def test_everybody_elses_lines_stand_where_they_stood(programme, run_once, monkeypatch):
    def lines(of):
        with of.opened() as store:
            return store.rows("select file_id, line, weight_kg from reading.accepted order by all")

    before = lines(run_once)
    withdraw(programme, monkeypatch)
    after = lines(programme)
    assert len(after) == len(before) - 7 and set(after) < set(before)
    with programme.opened() as store:
        name = store.value("select kept_sha256 from ledger.file where name = 'a.csv'")
    text = (programme.store / "archive" / name[:2] / name).read_bytes().decode("utf-8-sig").split("\r\n")
    assert text[1].startswith("1000,") and text[40].startswith("1039,")
    assert text[41:46] == ["", "", "", "", ""]  # lines 42 to 46: four of the person, and the broken one


def test_the_old_files_sent_again_do_not_bring_the_person_back(programme, monkeypatch):
    withdraw(programme, monkeypatch)
    before = programme.accounts()
    assert programme.run("run", str(programme.folder), *DAY) == 0
    assert programme.accounts() == before
    (programme.store / "evenbeam.duckdb").unlink()  # a store begun anew, with the key and the tombstones
    shutil.rmtree(programme.store / "archive")
    assert programme.run("run", str(programme.folder), *DAY) == 0
    with programme.opened() as store:
        read = "sum(rows_read), sum(rows_accepted), sum(rows_held), sum(rows_withdrawn)"
        assert store.rows(f"select {read} from ledger.file") == [(291, 280, 1, 10)]
    assert programme.is_anywhere(PERSON) == [] and programme.is_anywhere(programme.pseudonym()) == []


def test_a_new_file_with_the_person_in_it_is_taken_without_them(programme, monkeypatch):
    withdraw(programme, monkeypatch)
    programme.put(
        "north-quay", "b.csv", [*others(9000, "2025-04-03", 3), *of_person("72.0", day="2025-04-03")]
    )
    programme.run("run", str(programme.folder), *DAY)
    assert ("north-quay/b.csv", 4, 3, 0, 0, 0, 1, 0) in programme.accounts()
    assert programme.is_anywhere(PERSON) == []


def test_a_file_of_which_all_other_rows_are_held_is_held_whole(programme, monkeypatch):
    withdraw(programme, monkeypatch)
    wrong = [(f"m{n}", "2025-03-03", "F", "41", "166.0", "heavy", "31.0") for n in range(3)]
    programme.put("north-quay", "late.csv", [*of_person("70.0"), *wrong])
    for _ in range(2):
        assert programme.run("run", str(programme.folder), *DAY) == 3
        [account] = [one for one in programme.accounts() if one[0] == "north-quay/late.csv"]
        assert account[1:] == (4, 0, 3, 0, 0, 1, 0)
        state = "(select state || ' ' || reason_code from ledger.file where name = 'late.csv')"
        assert programme.counts(state) == ("held every_row_held",)
        assert programme.is_anywhere(PERSON) == []
    assert programme.run("rebuild", str(programme.folder), "--check") == 0


def test_a_database_put_back_from_a_backup_loses_the_person_at_the_next_run(programme, run_once, monkeypatch):
    withdraw(programme, monkeypatch)
    shutil.copy(run_once.store / "evenbeam.duckdb", programme.store / "evenbeam.duckdb")
    shutil.copytree(run_once.store / "archive", programme.store / "archive", dirs_exist_ok=True)
    assert programme.is_anywhere(PERSON)
    assert programme.run("run", str(programme.folder), *DAY) == 0
    assert programme.is_anywhere(PERSON) == [] and programme.is_anywhere(programme.pseudonym()) == []


def test_a_kept_copy_that_is_no_longer_what_was_kept_goes_whole_and_the_command_says_so(programme, monkeypatch, capsys):
    with programme.opened() as store:
        name = store.value("select kept_sha256 from ledger.file where name = 'a.csv'")
    copy = programme.store / "archive" / name[:2] / name
    sent = copy.read_bytes()
    copy.chmod(0o640)
    copy.write_bytes(sent.replace(b"\r\n", b"\r\n\r\n", 1))  # every line stands one further down
    assert withdraw(programme, monkeypatch) == 0
    assert "removed  1 kept file of store/archive" in capsys.readouterr().out
    assert programme.is_anywhere(PERSON) == [] and not copy.exists()
    assert programme.run("rebuild", str(programme.folder)) == 1
    assert "no copy of 1 of 4 files, such as north-quay/a.csv" in capsys.readouterr().err


class Killed(BaseException):
    """Stands for a signal: nothing in the pipeline catches it."""


@pytest.mark.parametrize(
    "moment", ["after the tombstone", "after the rows", "before the file is written anew"]
)
def test_a_withdrawal_that_is_cut_off_is_finished_by_the_next_run(programme, monkeypatch, moment):
    def dies(*arguments, **keywords):
        raise Killed

    with monkeypatch.context() as patch:
        if moment == "after the tombstone":
            step = flow.Step("remove", "", dies)
            patch.setattr(flow, "STEPS", (step, *flow.STEPS[1:]))
        elif moment == "after the rows":
            patch.setattr(flow, "build_readings", dies)
            patch.setattr(running, "erase_if_due", lambda *a, **k: None)  # a kill leaves no time for it
        else:
            patch.setattr(running, "erase_if_due", dies)
        with pytest.raises(Killed):
            withdraw(programme, patch)
    with programme.opened() as store:  # visits go with the readings, not only when the next are worked out
        assert store.value("select count(*) from reading.visit") > 0
        lost = "select count(*) from reading.visit where person not in (select reading_id from reading.accepted)"
        assert store.value(lost) == 0
    assert programme.run("run", str(programme.folder), *DAY) == 0
    assert programme.is_anywhere(PERSON) == [] and programme.is_anywhere(programme.pseudonym()) == []
    with programme.opened() as store:
        assert store.value("select count(*) from ledger.removal where not is_erased") == 0
        people = store.value("select count(distinct participant) from reading.participant_period")
        assert people == store.value("select count(distinct participant) from reading.accepted") == 160


def test_a_file_left_by_a_cut_off_erasure_is_cleared(programme, monkeypatch):
    part = programme.store / "evenbeam.duckdb.anew"
    part.write_bytes(b"half")
    withdraw(programme, monkeypatch)
    assert not part.exists()


def test_a_number_that_no_row_has_is_refused_without_repeating_it(programme, monkeypatch, capsys):
    assert withdraw(programme, monkeypatch, "7345018") == 1
    message = capsys.readouterr().err
    assert "no such member number" in message and "7345018" not in message
    assert tombstones.read(programme.store) == frozenset()
    assert [sum(row[6:]) for row in programme.accounts()] == [0, 0, 0, 0]


def test_the_wish_of_somebody_who_is_not_there_yet_is_kept_on_request(programme, monkeypatch):
    assert withdraw(programme, monkeypatch, "555", "--in-advance") == 0
    programme.put("north-quay", "b.csv", [("555", *others(1, "2025-04-03", 1)[0][1:])])
    programme.run("run", str(programme.folder), *DAY)
    assert ("north-quay/b.csv", 1, 0, 0, 0, 0, 1, 0) in programme.accounts()


def test_the_number_may_come_in_a_file_and_never_as_an_argument(programme, capsys):
    with pytest.raises(SystemExit) as refused:
        programme.run("withdraw", str(programme.folder), PERSON)
    assert refused.value.code == 2
    (programme.folder / "number.txt").write_text(f"\ufeff {PERSON} \n\n", encoding="utf-8")
    capsys.readouterr()
    assert (
        programme.run("withdraw", str(programme.folder), "--from", str(programme.folder / "number.txt"), *DAY)
        == 0
    )
    shown = capsys.readouterr()
    assert "removed 10 rows of 4 files" in shown.out and PERSON not in shown.out + shown.err
    assert "inbox/north-quay/a.csv still holds withdrawn rows" in shown.out


@pytest.mark.parametrize("text", ["", "\n \n", "x" * 201, "12\x1b[2J"])
def test_an_input_that_is_no_number_is_bad_usage(programme, monkeypatch, text):
    assert withdraw(programme, monkeypatch, text) == 2


def test_where_numbers_are_a_sites_own_the_site_must_be_named(programme, monkeypatch, capsys):
    (programme.folder / "gull-yard.toml").write_text(profile("ndjson", "site"))
    assert withdraw(programme, monkeypatch) == 2
    assert "gull-yard" in capsys.readouterr().err
    assert withdraw(programme, monkeypatch, PERSON, "--site", "gull-yrd") == 2
    assert "did you mean gull-yard?" in capsys.readouterr().err


def test_a_sites_own_number_leaves_that_site_alone(tmp_path, monkeypatch):
    made = invented(tmp_path / "own")
    for site in ("gull-yard", "mill-lane"):
        (made.folder / f"{site}.toml").write_text(profile(FORMATS[site], "site"))
    made.run("run", str(made.folder), *DAY)
    assert withdraw(made, monkeypatch, PERSON, "--site", "gull-yard") == 0
    assert {row[0]: row[6] for row in made.accounts()} == {
        "east-pier/a.xlsx": 0,
        "gull-yard/a.ndjson": 2,
        "mill-lane/a.parquet": 0,
        "north-quay/a.csv": 0,
    }


def test_a_store_of_an_earlier_version_refuses_before_anything_is_removed(programme, monkeypatch, capsys):
    with Store.open(programme.store / "evenbeam.duckdb") as store:
        store.execute("update ledger.file set has_row_account = false where name = 'a.csv'")
    assert withdraw(programme, monkeypatch) == 1
    assert "store of an earlier version" in capsys.readouterr().err
    assert tombstones.read(programme.store) == frozenset()


def test_a_tombstone_is_the_same_in_sql_and_in_python_and_is_no_pseudonym(programme):
    key = bytes.fromhex((programme.store / "pseudonym.key").read_text().strip())
    from pipeline.intake.pseudonyms import pads_of

    inner, outer = pads_of(key)
    person = programme.pseudonym()
    with Store.open(None) as store:
        found = store.value(
            "select tombstone_of($inner, $outer, $person)", {"inner": inner, "outer": outer, "person": person}
        )
    assert found == tombstones.tombstone_of(key, person) and person not in found


def test_a_damaged_or_open_list_of_withdrawals_stops_the_run(programme, monkeypatch, capsys):
    withdraw(programme, monkeypatch)
    path = programme.store / tombstones.NAME
    path.chmod(0o644)
    assert programme.run("run", str(programme.folder), *DAY) == 1
    assert "chmod 600" in capsys.readouterr().err
    path.write_text("half a line")
    path.chmod(0o600)
    assert programme.run("run", str(programme.folder), *DAY) == 1
    assert "list of withdrawals unreadable" in capsys.readouterr().err


def test_an_erasure_refuses_while_another_process_has_the_store(programme):
    import subprocess
    import sys

    from pipeline.faults import StoreFault

    code = (
        "import sys, time\nfrom pathlib import Path\nfrom pipeline.store import Store\n"
        "with Store.open(Path(sys.argv[1])): print('open', flush=True); time.sleep(60)"
    )
    path = programme.store / "evenbeam.duckdb"
    holder = subprocess.Popen([sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout.readline() == "open\n"
        with pytest.raises(StoreFault, match="store in use"):
            erasing.erase_if_due(path, memory_limit="1GB")
    finally:
        holder.kill()
        holder.wait()


def test_when_the_last_person_leaves_nothing_made_of_them_stays(tmp_path, monkeypatch, capsys):
    made = invented(tmp_path / "alone")
    for site in FORMATS:
        for path in (made.folder / "inbox" / site).iterdir():
            path.unlink()
    made.put("north-quay", "a.csv", of_person("70.0"))
    made.run("run", str(made.folder), *DAY)
    assert withdraw(made, monkeypatch) == 1
    assert "no readings yet" in capsys.readouterr().err
    assert made.is_anywhere(PERSON) == [] and made.is_anywhere(made.pseudonym()) == []
    with made.opened() as store:
        assert store.value("select count(*) from reading.participant_period") == 0
        assert store.value("select count(*) from tally.value") == 0
