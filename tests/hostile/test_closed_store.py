"""The store's own SQL reaches no file but what sites sent, and cannot be talked into more. Mechanics, over DuckDB."""

import duckdb
import pytest

from pipeline.store import Store


@pytest.fixture
def programme(tmp_path):
    folder = tmp_path / "programme"
    for name in ("inbox/north-quay", "inbox-of-others", "store/spool", "store/archive/aa"):
        (folder / name).mkdir(parents=True)
    for name in (
        "inbox/north-quay/a.csv",
        "inbox-of-others/b.csv",
        "store/archive/aa/c",
        "store/pseudonym.key",
    ):
        (folder / name).write_text("Member,Wt\n17,70\n")
    (folder / "inbox/north-quay/link.csv").symlink_to(folder / "store/pseudonym.key")
    return folder


@pytest.fixture
def store(programme):
    with Store.open(programme / "store" / "evenbeam.duckdb", memory_limit="200MB", threads=2) as opened:
        yield opened


@pytest.mark.parametrize("name", ["inbox/north-quay/a.csv", "store/archive/aa/c"])
def test_received_files_can_be_read(store, programme, name):
    assert store.rows("from read_csv($path)", {"path": str(programme / name)}) == [(17, 70)]


@pytest.mark.parametrize(
    "name",
    ["store/pseudonym.key", "inbox/../store/pseudonym.key", "inbox/north-quay/link.csv", "inbox-of-others/b.csv",
     "../../../../../../etc/passwd"],
)  # fmt: skip
def test_no_other_file_can(store, programme, name):
    for reader in ("read_csv", "read_text", "read_blob", "read_json", "read_parquet", "glob"):
        with pytest.raises(duckdb.Error, match="Cannot access file"):
            store.rows(f"from {reader}($path)", {"path": str(programme / name)})


@pytest.mark.parametrize(
    "statement",
    [
        "attach '{other}'", "attach '{other}' (read_only)", "copy (select 1) to '{other}'", "export database '{other}'",
        "import database '{other}'", "install httpfs", "load httpfs", "create secret (type s3)",
        "from read_csv('https://example.org/a.csv')", "from sniff_csv('/etc/passwd')",
        "set enable_external_access = true", "set allowed_directories = ['/']", "set allowed_paths = ['/etc/passwd']",
        "set lock_configuration = false", "reset lock_configuration", "set memory_limit = '100GB'",
        "set temp_directory = '/tmp'", "set log_query_path = '/tmp/q'", "set profiling_output = '/tmp/q'",
        "set extension_directory = '/tmp'", "set autoinstall_known_extensions = true", "pragma threads = 99",
    ],
)  # fmt: skip
def test_no_statement_opens_it_again(store, programme, statement):
    for connection in (store, store.beside()):
        with pytest.raises(duckdb.Error):
            connection.execute(statement.format(other=programme / "other"))
    assert not (programme / "other").exists()


def test_a_second_opening_in_one_process_does_not_open_it_either(store, programme):
    with (
        Store.open(store.path, memory_limit="200MB", threads=2, may_read=[programme]) as second,
        pytest.raises(duckdb.Error, match="Cannot access file"),
    ):
        second.rows("from read_text($path)", {"path": str(programme / "store/pseudonym.key")})


def test_work_larger_than_memory_still_goes_through_the_disk(store, programme):
    store.execute(
        "create table reading.large as select range as i, hash(range)::varchar || 'x' as s from range(4000000)"
    )
    store.execute("create table reading.ordered as from reading.large order by s, i")
    assert store.value("select count(*) from reading.ordered") == 4_000_000
    store.execute("checkpoint")
    assert (programme / "store" / "evenbeam.duckdb").stat().st_size > 10_000_000
