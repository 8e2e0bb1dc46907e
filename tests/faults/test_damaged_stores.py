"""A store that is damaged, gone, of another time or of another version: told in clear words, and built again."""

from __future__ import annotations

import random
import shutil
from importlib import resources
from pathlib import Path

import duckdb
import nights
import pytest
import soundness

from pipeline.intake import kept_ledger
from pipeline.seal.pseudonym import pseudonym_of
from pipeline.store import Store

REBUILD = ("rebuild", "FOLDER")
WITHDRAW = ("withdraw", "FOLDER", "--as-of", "2025-07-10")
CHECK = ("rebuild", "FOLDER", "--check")


def database(folder: Path) -> Path:
    return folder / "store" / "evenbeam.duckdb"


def served(folder: Path) -> str:
    digest, faults = soundness.published(folder)
    assert faults == []
    return digest


# ---- damage -------------------------------------------------------------------------------------------------


def damaged(content: bytes, chance: random.Random, kind: str) -> bytes:
    place = chance.choice([chance.randrange(3 * 4096), chance.randrange(len(content))])
    if kind == "cut off":
        return content[:place]
    if kind == "a flipped byte":
        return content[:place] + bytes([content[place] ^ 0xFF]) + content[place + 1 :]
    return content[:place] + bytes(min(4096, len(content) - place)) + content[place + 4096 :]


@pytest.mark.parametrize("kind", ["a flipped byte", "cut off", "zeros"])
def test_damage_anywhere_is_told_or_harms_nothing_and_a_rebuild_mends_it(programme, kind):
    """A byte in a page that nothing uses harms nothing; every page that is read is checked by its sum."""
    before, chance = soundness.contents(programme), random.Random(kind)
    content, latest, told = database(programme).read_bytes(), served(programme), 0
    for _ in range(8):
        database(programme).write_bytes(damaged(content, chance, kind))
        code, said = nights.command(("status", "FOLDER"), programme)
        assert code in (0, 1), said
        if code:
            told += 1
            assert "store unreadable" in said and "evenbeam rebuild" in said
    assert told
    database(programme).write_bytes(content[:5000])
    code, said = nights.command(nights.RUN, programme)
    assert code == 1 and "store unreadable" in said and served(programme) == latest
    assert nights.command(REBUILD, programme)[0] == 0
    assert soundness.contents(programme) == before and soundness.faults(programme) == []
    assert nights.command(nights.RUN, programme)[0] == 0 and served(programme) == latest


def test_damage_that_only_a_run_meets_publishes_nothing(programme):
    """Blocks of readings alone: the file opens, and its tables cannot be read."""
    latest, content = served(programme), bytearray(database(programme).read_bytes())
    for place in range(3 * 4096 + 100, len(content), 4096):
        content[place] ^= 0xFF
    database(programme).write_bytes(content)
    nights.later_arrivals(programme)
    code, said = nights.command(nights.RUN, programme)
    assert code == 1 and "store unreadable" in said and served(programme) == latest
    assert nights.command(REBUILD, programme)[0] == 0 and nights.command(nights.RUN, programme)[0] == 0
    assert soundness.faults(programme) == []


@pytest.mark.parametrize("keep", [0, 0.3, 0.9])
def test_a_log_that_was_cut_off_loses_no_file(programme, tmp_path, keep):
    """What a killed run committed stands in the database's log; where that is cut, the list of the archive tells."""
    twin = Path(shutil.copytree(programme, tmp_path / "twin", symlinks=True))
    for folder in (programme, twin):
        nights.later_arrivals(folder)
        assert nights.command(nights.RUN, folder)[0] == 0
    log = database(programme).with_name("evenbeam.duckdb.wal")
    database(programme).write_bytes(database(twin).read_bytes())
    with duckdb.connect(str(database(programme))) as connection:
        connection.execute("set checkpoint_threshold = '1GB'")
        connection.execute("pragma disable_checkpoint_on_shutdown")
        connection.execute("delete from reading.accepted where file_id = 3")
        connection.execute("update ledger.file set is_built = false where file_id = 3")
    content = log.read_bytes()
    log.write_bytes(content[: int(len(content) * keep)])
    code, _ = nights.command(CHECK, programme)
    if code:
        assert nights.command(REBUILD, programme)[0] == 0
    assert nights.command(nights.RUN, programme)[0] == 0
    assert soundness.contents(programme) == soundness.contents(twin)


# ---- gone, or of another time -------------------------------------------------------------------------------


def test_without_store_and_inbox_everything_comes_back_and_who_withdrew_stays_away(programme):
    nights.corrections(programme)
    assert nights.command(nights.RUN, programme)[0] == 3
    assert nights.command(WITHDRAW, programme, nights.PERSON)[0] == 0
    before = soundness.contents(programme)
    database(programme).unlink()
    shutil.rmtree(programme / "inbox")
    code, said = nights.command(nights.RUN, programme)
    assert code == 1 and "store lost files" in said and "evenbeam rebuild" in said
    assert nights.command(CHECK, programme)[0] == 1
    assert nights.command(REBUILD, programme)[0] == 0
    found = soundness.contents(programme)
    # files that were held or refused keep their place; their rows come from the inbox again
    assert {name for name in before if found[name] != before[name]} <= {"ledger.held_row", "result.data_quality"}
    with Store.open(database(programme), read_only=True) as store:
        key = bytes.fromhex((programme / "store" / "pseudonym.key").read_text())
        person = pseudonym_of(key, "", nights.PERSON)
        assert not store.value("select count(*) from reading.accepted where participant = $p", {"p": person})
        assert store.value("select sum(rows_withdrawn) from ledger.file") == 4
    assert nights.command(nights.RUN, programme)[0] == 0 and soundness.faults(programme) == []


def test_a_store_of_an_older_backup_is_told_from_one_that_has_everything(programme):
    older, latest = database(programme).read_bytes(), served(programme)
    nights.later_arrivals(programme)
    assert nights.command(nights.RUN, programme)[0] == 0
    before, newer = soundness.contents(programme), served(programme)
    assert newer != latest
    database(programme).write_bytes(older)
    shutil.rmtree(programme / "inbox")  # so the files could not be read again from there
    for command in (nights.RUN, ("release", "FOLDER", "2025Q1", "--as-of", "2025-07-10")):
        code, said = nights.command(command, programme)
        assert code == 1 and "store lost files" in said and "1 of 3 accepted files" in said
    assert served(programme) == newer
    assert nights.command(REBUILD, programme)[0] == 0
    assert soundness.contents(programme) == before


def test_a_lost_list_of_withdrawals_is_told(programme):
    assert nights.command(WITHDRAW, programme, nights.PERSON)[0] == 0
    (programme / "store" / "withdrawn").unlink()
    for command in (nights.RUN, REBUILD):
        code, said = nights.command(command, programme)
        assert code == 1 and "list of withdrawals lost" in said and "--in-advance" in said


# ---- the list -----------------------------------------------------------------------------------------------


def list_of(folder: Path) -> Path:
    return folder / "store" / "archive" / kept_ledger.NAME


@pytest.mark.parametrize(
    ("damage", "found"),
    [
        (lambda text: text.replace(b'"accepted"', b'"accepxed"', 1), "is not as it was written"),
        (lambda text: text[: text[:-1].rindex(b"\n") + 1], "lines of"),
    ],
    ids=["a changed line", "a line that is gone"],
)
def test_a_damaged_list_is_told_and_written_anew_once_it_is_moved_aside(programme, damage, found):
    path = list_of(programme)
    path.write_bytes(damage(path.read_bytes()))
    code, said = nights.command(nights.RUN, programme)
    assert code == 1 and "list of the archive unreadable" in said and found in said
    path.unlink()
    assert nights.command(nights.RUN, programme)[0] == 0 and soundness.faults(programme) == []


def test_a_line_that_was_cut_off_was_never_relied_on(programme):
    path = list_of(programme)
    whole = kept_ledger.read(path.parent)
    path.write_bytes(path.read_bytes() + b'0123456789abcdef {"table": "arri')
    assert kept_ledger.read(path.parent) == whole
    nights.later_arrivals(programme)
    assert nights.command(nights.RUN, programme)[0] == 0 and soundness.faults(programme) == []


def test_the_list_holds_nothing_of_people(programme):
    key = bytes.fromhex((programme / "store" / "pseudonym.key").read_text())
    text = list_of(programme).read_bytes()
    assert pseudonym_of(key, "", nights.PERSON).encode() not in text and nights.PERSON.encode() not in text
    assert oct(list_of(programme).stat().st_mode)[-3:] == "600"


# ---- versions -----------------------------------------------------------------------------------------------

FIRST = ("001_first.sql", "002_curves_and_standardisation.sql", "003_site_comparison_and_devices.sql")


def older_store(folder: Path) -> None:
    """Today's store as the program of schema 3 would have left it: its own schema files, filled with its columns."""
    path, made = database(folder), folder / "store" / "older.duckdb"
    with duckdb.connect(str(made)) as older:
        for step in FIRST:
            text = (resources.files("sql") / "schema" / step).read_text(encoding="utf-8")
            for statement in older.extract_statements(text):
                older.execute(statement)
            older.execute("insert into ledger.schema_step values (?, ?)", [int(step[:3]), step])
        older.execute(f"attach '{path}' as now (read_only)")
        for schema, table in older.execute(
            "select schema_name, table_name from duckdb_tables() where database_name = 'older' "
            "and schema_name in ('ledger', 'reading', 'tally', 'result', 'reference') and table_name <> 'schema_step'"
        ).fetchall():
            names = older.execute(
                "select string_agg('\"' || o.column_name || '\"', ', ') "
                "from duckdb_columns() o join duckdb_columns() n "
                "using (schema_name, table_name, column_name) where o.database_name = 'older' "
                "and n.database_name = 'now' and schema_name = ? and table_name = ?",
                [schema, table],
            ).fetchall()[0][0]
            older.execute(f"insert into {schema}.{table} ({names}) select {names} from now.{schema}.{table}")
    made.replace(path)
    list_of(folder).unlink()  # which that program did not write


def test_a_store_of_an_older_version_is_upgraded_with_its_data_and_equals_a_rebuild(programme):
    before = soundness.contents(programme)
    older_store(programme)
    code, said = nights.command(("status", "FOLDER"), programme)
    assert code == 1 and "older store" in said and "evenbeam run" in said
    nights.later_arrivals(programme)
    assert nights.command(nights.RUN, programme)[0] == 0
    assert nights.command(CHECK, programme)[0] == 0
    assert nights.command(REBUILD, programme)[0] == 0
    found = soundness.contents(programme)
    assert found["reading.accepted"][0] == before["reading.accepted"][0] + 25
    assert soundness.faults(programme) == []


def test_a_store_of_a_newer_version_is_refused_and_left_alone(programme):
    with duckdb.connect(str(database(programme))) as connection:
        connection.execute("insert into ledger.schema_step values (999, '999_later.sql')")
    content, latest = database(programme).read_bytes(), served(programme)
    release = ("release", "FOLDER", "2025Q1", "--as-of", "2025-07-10")
    for command in (nights.RUN, REBUILD, ("status", "FOLDER"), release):
        code, said = nights.command(command, programme)
        assert code == 1 and "newer store" in said and "schema 999" in said, command
    assert database(programme).read_bytes() == content and served(programme) == latest


def test_a_list_of_a_newer_version_is_refused(programme):
    with Store.open(database(programme)) as store:
        store.execute("insert into ledger.schema_step values (999, '999_later.sql')")
        kept_ledger.write(store, programme / "store" / "archive")
    database(programme).unlink()
    code, said = nights.command(REBUILD, programme)
    assert code == 1 and "list of a newer version" in said
