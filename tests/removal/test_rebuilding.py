"""A store grown run by run and one rebuilt from the archive are the same, also after people and periods left."""

import io
import random
import shutil

import pytest
from invented_programme import FORMATS, PERSON, Invented, invented, others

from pipeline import rebuilding
from pipeline.store import Store

DAY = ("--as-of", "2025-07-10")
TABLES = (
    "reading.accepted", "reading.set_aside", "reading.participant_period", "tally.value", "tally.moment", "tally.band",
    "result.prevalence", "result.percentile", "result.data_quality", "ledger.file", "ledger.held_row",
    "ledger.unaccepted_row", "ledger.run", "ledger.removal",
)  # fmt: skip


def rebuild(programme: Invented, *more: str) -> int:
    return programme.run("rebuild", str(programme.folder), *more)


def content(programme: Invented) -> dict[str, list[tuple]]:
    with programme.opened() as store:
        return {table: store.rows(f"from {table} order by all") for table in TABLES}


def published(programme: Invented) -> dict[str, bytes]:
    data = programme.folder / "published" / "latest" / "data"
    return {path.name: path.read_bytes() for path in sorted(data.iterdir())}


def test_a_rebuilt_store_is_the_same_to_the_last_row_and_publishes_the_same_bytes(programme, capsys):
    before, files = content(programme), published(programme)
    assert rebuild(programme) == 0
    assert "the same in all" in capsys.readouterr().out
    assert content(programme) == before and any(before["ledger.held_row"])
    assert not list(programme.store.glob("*rebuilt*")) and not list((programme.store / "spool").glob("*"))
    shutil.rmtree(programme.folder / "inbox" / "east-pier")  # it does not come from the inbox
    programme.run("run", str(programme.folder), *DAY)
    assert published(programme) == files


@pytest.mark.parametrize("seed", range(3))
def test_after_any_sequence_of_arrivals_corrections_and_withdrawals(tmp_path, monkeypatch, capsys, seed):
    chance = random.Random(seed)
    programme = invented(tmp_path / "programme")
    people = [str(1000 + n) for n in range(8)]
    for step in range(6):
        site = chance.choice(sorted(FORMATS))
        kind = chance.choice(["arrival", "correction", "repeat", "withdrawal"])
        rows = others(1000, f"2025-0{chance.randint(1, 6)}-03", 30)
        if kind == "correction":
            rows = [(*row[:5], f"{float(row[5]) + 1:.1f}", row[6]) for row in rows[: chance.randint(1, 20)]]
        if kind == "withdrawal" and step:
            monkeypatch.setattr("sys.stdin", io.StringIO(people.pop(chance.randrange(len(people))) + "\n"))
            programme.run("withdraw", str(programme.folder), *DAY)
        else:
            programme.put(site, f"{step}.{FORMATS[site]}", rows)
            programme.run("run", str(programme.folder), *DAY)
    before = content(programme)
    capsys.readouterr()
    assert rebuild(programme, "--check") == 0, capsys.readouterr().out
    assert rebuild(programme) == 0
    assert content(programme) == before


def test_what_left_for_good_stays_away_and_its_account_stands(programme, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO(PERSON + "\n"))
    programme.run("withdraw", str(programme.folder), *DAY)
    accounts = programme.accounts()
    assert rebuild(programme) == 0
    assert programme.accounts() == accounts and any(account[6] for account in accounts)
    assert programme.is_anywhere(PERSON) == [] and programme.is_anywhere(programme.pseudonym()) == []


def test_a_mended_profile_reads_the_kept_files_anew(programme, capsys):
    profile = programme.folder / "gull-yard.toml"
    profile.write_text(profile.read_text().replace('"Wt"', '"Wt", unit = "lb"'))
    assert rebuild(programme, "--check") == 1
    assert "differs  reading.accepted" in capsys.readouterr().out
    assert rebuild(programme) == 0
    assert rebuild(programme, "--check") == 0


def test_a_damaged_store_is_told_and_mended(programme, capsys):
    with Store.open(programme.store / "evenbeam.duckdb") as store:
        store.execute("update reading.accepted set weight_kg = weight_kg + 1 where site = 'gull-yard'")
        store.execute("delete from tally.value where measure = 'bmi'")
    assert rebuild(programme, "--check") == 1
    out = capsys.readouterr().out
    assert "differs  reading.accepted" in out and "differs  tally.value" in out
    assert rebuild(programme) == 0 and rebuild(programme, "--check") == 0


def test_a_kept_copy_that_is_gone_stops_it_and_nothing_changes(programme, capsys):
    before = content(programme)
    for copy in (programme.store / "archive").rglob("*"):
        if copy.is_file():
            copy.unlink()
            break
    assert rebuild(programme) == 1
    assert "kept copies gone" in capsys.readouterr().err and content(programme) == before


def test_a_rebuild_that_is_killed_changes_nothing(programme, monkeypatch):
    before = content(programme)

    def killed(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(rebuilding, "build_readings", killed)
    assert rebuild(programme) == 1
    assert content(programme) == before and not list(programme.store.glob("*rebuilt*"))
