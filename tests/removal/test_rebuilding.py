"""A store grown run by run and one rebuilt from the archive are the same, also after people and periods left."""

import io
import random
import shutil

import pytest
from invented_programme import FORMATS, PERSON, Invented, invented, others

from pipeline import rebuilding
from pipeline.programme import Programme
from pipeline.results import building
from pipeline.results.percentile import build_percentiles
from pipeline.store import Store

DAY = ("--as-of", "2025-07-10")
TABLES = (
    "reading.accepted", "reading.set_aside", "reading.participant_period", "reading.visit", "reading.repeat",
    "tally.value", "tally.moment", "tally.band", "tally.person_value", "tally.change_value", "tally.change_sum",
    "tally.change_contrast", "tally.analyser_chart", "result.prevalence", "result.percentile", "result.data_quality",
    "result.standardised_prevalence", "result.site_comparison", "result.site_heterogeneity", "result.trend",
    "result.device", "result.instrument_check", "result.outcome", "result.retention", "result.retention_balance",
    "result.transition", "result.outcome_site", "result.measurement_error", "ledger.file", "ledger.held_row",
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


FAT = 'body_fat_percent = { header = "Fat" }\n'


def change_profile(programme: Invented, site: str) -> None:
    """Leave out the fat column, or take it in again: every row is read differently, and none is held for it."""
    path = programme.folder / f"{site}.toml"
    text = path.read_text()
    path.write_text(text.replace(FAT, "") if FAT in text else text + FAT)


def read_with_an_earlier_profile(programme: Invented) -> int:
    profiles = Programme.read(programme.folder).profiles
    with programme.opened() as store:
        files = store.rows("select site, profile_sha256 from ledger.file where state = 'accepted'")
    return sum(profiles[site].sha256 != sha256 for site, sha256 in files)


def digests_kept(programme: Invented) -> list[tuple]:
    with programme.opened() as store:
        return store.rows("select period, digest from ledger.percentile_digest order by period")


# What holds, exactly. A run reads a file once, with the site's profile of that day. So after any sequence of arrivals,
# corrections, repeats, withdrawals and changes of profiles
#   - results are those that would be written whole from the store's readings, and a release has the same bytes;
#   - where every accepted file was read with the profile as it is now, the store is the same as one rebuilt;
#   - otherwise `rebuild` makes it so: from then on every file counts as read with the profile as it is now.
@pytest.mark.parametrize("seed", range(4))
def test_after_any_sequence_of_arrivals_corrections_withdrawals_and_profiles(tmp_path, monkeypatch, capsys, seed):
    chance = random.Random(seed)
    programme = invented(tmp_path / "programme")
    people = [str(1000 + n) for n in range(8)]
    for step in range(6):
        site = chance.choice(sorted(FORMATS))
        kind = chance.choice(["arrival", "correction", "repeat", "withdrawal", *["profile"] * (seed % 2)])
        rows = others(1000, f"2025-0{chance.randint(1, 6)}-03", 30)
        if kind == "correction":
            rows = [(*row[:5], f"{float(row[5]) + 1:.1f}", row[6]) for row in rows[: chance.randint(1, 20)]]
        if kind == "profile":
            change_profile(programme, site)
        if kind == "withdrawal" and step:
            monkeypatch.setattr("sys.stdin", io.StringIO(people.pop(chance.randrange(len(people))) + "\n"))
            programme.run("withdraw", str(programme.folder), *DAY)
        else:
            programme.put(site, f"{step}.{FORMATS[site]}", rows)
            programme.run("run", str(programme.folder), *DAY)
    before, files, digests = content(programme), published(programme), digests_kept(programme)
    with Store.open(programme.store / "evenbeam.duckdb") as store:
        store.execute("delete from ledger.result_state")  # the next run writes results whole
        store.execute("delete from ledger.visit_state")  # and everybody's visits
    programme.run("run", str(programme.folder), *DAY)
    assert digests and digests_kept(programme) == digests
    whole = content(programme)
    assert whole["reading.visit"] and whole["result.retention"]
    for table in TABLES:
        if not table.startswith("ledger."):  # which tells of that run too
            assert whole[table] == before[table], table
    assert published(programme) == files
    capsys.readouterr()
    if not read_with_an_earlier_profile(programme):
        assert rebuild(programme, "--check") == 0, capsys.readouterr().out
        assert rebuild(programme) == 0 and content(programme) == whole
    else:
        assert seed % 2
        assert rebuild(programme) == 0
        assert read_with_an_earlier_profile(programme) == 0
        assert rebuild(programme, "--check") == 0, capsys.readouterr().out


def test_a_reading_counts_again_once_the_one_it_disagreed_with_has_expired(tmp_path):
    made = invented(tmp_path / "programme", '[retention]\nreadings = "18 months"\n')
    shutil.rmtree(made.folder / "inbox")
    made.put("north-quay", "a.csv", others(100, "2022-02-03", 20))
    other_sex = ("100", "2022-11-03", "M", "25", "170.0", "60.5", "20.0")
    made.put("north-quay", "b.csv", [other_sex, *others(200, "2022-11-04", 20)])
    for day, set_aside, counted in (("2023-01-10", 2, 20), ("2023-10-01", 0, 21)):
        assert made.run("run", str(made.folder), "--as-of", day) == 0
        with made.opened() as store:
            assert store.value("select count(*) from reading.set_aside") == set_aside
            assert store.value("select count(*) from reading.participant_period where period = '2022Q4'") == counted
    assert rebuild(made, "--check") == 0


def test_a_run_that_is_killed_before_its_results_leaves_them_to_the_next(programme, monkeypatch):
    programme.put("north-quay", "b.csv", others(1000, "2025-06-03", 30))

    def killed(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(building, "refresh_results", killed)
        assert programme.run("run", str(programme.folder), *DAY) == 1
    with programme.opened() as store:
        assert store.rows("from ledger.stale_period") == [("2025Q2",)]
    assert programme.run("run", str(programme.folder), *DAY) == 0
    with programme.opened() as store:
        assert store.rows("from ledger.stale_period") == []
    assert rebuild(programme, "--check") == 0


def test_only_periods_that_files_touch_get_new_percentiles_and_nothing_new_computes_nothing(programme, monkeypatch):
    asked: list[tuple | None] = []

    def noted(store, settings, progress, periods):
        asked.append(None if periods is None else tuple(periods))
        build_percentiles(store, settings, progress, periods)

    monkeypatch.setattr(building, "build_percentiles", noted)
    assert programme.run("run", str(programme.folder), *DAY) == 0
    assert asked == []
    programme.put("north-quay", "b.csv", others(1000, "2025-06-03", 30))
    assert programme.run("run", str(programme.folder), *DAY) == 0
    assert asked == [("2025Q2",)]
    change_profile(programme, "gull-yard")  # tells how files are printed, which results look at
    assert programme.run("run", str(programme.folder), *DAY) == 0
    assert asked == [("2025Q2",), None]


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
    for copy in (programme.store / "archive").glob("??/*"):
        if copy.is_file():
            copy.unlink()
            break
    assert rebuild(programme) == 1
    assert "kept copies gone" in capsys.readouterr().err and content(programme) == before


@pytest.mark.parametrize("more", [(), ("--check",)])
def test_a_kept_copy_that_has_changed_is_not_read_as_if_it_had_been_sent_so(programme, capsys, more):
    before = content(programme)
    with programme.opened() as store:
        name = store.value("select kept_sha256 from ledger.file where name = 'a.csv'")
    copy = programme.store / "archive" / name[:2] / name
    sent = copy.read_bytes()
    copy.chmod(0o640)
    copy.write_bytes(sent.replace(b"60.5", b"61.5", 1))
    assert rebuild(programme, *more) == 1
    said = capsys.readouterr().err
    assert "kept copy damaged" in said and str(copy) in said and "north-quay/a.csv" in said
    assert content(programme) == before
    copy.write_bytes(sent)
    assert rebuild(programme, *more) == 0


def test_a_rebuild_that_is_killed_changes_nothing(programme, monkeypatch):
    before = content(programme)

    def killed(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(rebuilding, "build_readings", killed)
    assert rebuild(programme) == 1
    assert content(programme) == before and not list(programme.store.glob("*rebuilt*"))
