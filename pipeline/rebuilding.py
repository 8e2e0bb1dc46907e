"""The store built again from its archive: every accepted file read anew with its site's profile as it is now.

It happens in a new file beside the store, which takes its place by one rename at the end, so a rebuild that is killed
changes nothing. Before that the two are compared, table by table: where profiles and settings are as they were, a store
grown night by night and one rebuilt from the archive are the same. Which files there are, and in which order they were
read, the store says; where it is gone, cannot be read or has lost files, the archive's own list does.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial
from itertools import chain
from pathlib import Path, PurePosixPath
from typing import Any

import duckdb

from pipeline.durable import flush
from pipeline.faults import Fault, StoreFault, printable
from pipeline.intake import archive, kept_ledger, ledger, one_file, one_pass, pseudonyms, tombstones
from pipeline.intake.arrival import Arrival
from pipeline.intake.in_turn import in_turn
from pipeline.intake.passes import passes
from pipeline.intake.setting import Setting
from pipeline.intake.summary import IntakeSummary
from pipeline.programme import Programme
from pipeline.readings import build_readings
from pipeline.results import refresh_results
from pipeline.sole_use import opened_alone, sole_use
from pipeline.store import Store, why_it_did_not_open
from pipeline.tallies import build_tallies
from pipeline.waiting_figures import WorkedOut, last_worked_out

PART = ".rebuilt"
COMPARED = ("reading", "tally", "result")  # schemas whose tables follow from the files
# what is wrong with a store where the archive's own list says which files there are
MENDED_BY_THE_LIST = ("store gone", "store unreadable", kept_ledger.LOST_FILES, kept_ledger.OLDER)

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Difference:
    """Rows of one table that only one of the two stores has."""

    table: str
    only_before: int
    only_rebuilt: int


@dataclass(frozen=True)
class Rebuilt:
    files: int
    intake: IntakeSummary
    why_from_list: str | None  # why the archive's list said which files there are; None: the store did
    tables: int  # compared; 0 where there is nothing to compare with
    differences: tuple[Difference, ...]


def rebuild(
    path: Path,
    *,
    started_at: datetime,
    on_step: Callable[[int, int, str], None],
    progress: Progress,
    is_check: bool = False,
) -> Rebuilt:
    """Build the store of a programme again and put it in the old one's place; with `is_check` only compare.

    Errors   Fault: no store yet, a kept copy gone, a site of the store missing from the settings, or neither a store
             nor a list that can be read. Nothing is changed then.
    """
    programme = Programme.read(path)
    database, limits = programme.store / "evenbeam.duckdb", programme.settings.limits
    if not database.exists() and not (programme.store / "archive" / kept_ledger.NAME).exists():
        raise Fault("no store yet", where=str(database), next="evenbeam run PROGRAMME.toml")
    part = database.with_name(database.name + PART)
    with sole_use(programme.store), _beside(part):
        damage = _begin(programme, database, part)
        with Store.open(
            part,
            memory_limit=limits.memory,
            threads=limits.threads,
            may_read=[database, database.with_name(database.name + ".wal")],
        ) as store:
            if damage:
                with store.transaction():
                    kept_ledger.restore(store, _list_of(programme, damage))
            parts = _begin_again(store, programme, started_at)
            of = 1 + 2 * len(parts)
            intake = IntakeSummary()
            with _spool(programme):
                for number, one in enumerate(parts):
                    on_step(2 * number + 1, of, "Reading the kept files again")
                    intake += _read_again(store, programme, one.files, started_at, progress)
                    if one is parts[-1]:
                        with store.transaction():
                            store.execute_file("43_rows_that_left.sql")
                    on_step(2 * number + 2, of, "Choosing readings, counting and computing")
                    _compute(store, programme, one, progress)
            on_step(of, of, "Comparing with the store as it is")
            tables, differences = (0, ()) if damage else _compared(store, database)
            store.execute("checkpoint")
        if not is_check:
            _put_in_place(part, database)
            with Store.open(database, memory_limit=limits.memory, threads=limits.threads) as store:
                kept_ledger.write(store, programme.store / "archive")
    files = sum(len(one.files) for one in parts)
    return Rebuilt(files, intake, damage.what if damage else None, tables, differences)


def _begin(programme: Programme, database: Path, part: Path) -> StoreFault | None:
    """A copy of the store to begin with; or why there is none, and the archive's list has to say what there is."""
    if not database.exists():
        return StoreFault("store gone", where=str(database))
    limits = programme.settings.limits
    try:
        with opened_alone(database, memory_limit=limits.memory, threads=limits.threads) as store:
            kept_ledger.require_store_has_all(store, programme.store / "archive")
        _copy(database, part)
    except (duckdb.Error, StoreFault) as error:
        fault = error if isinstance(error, StoreFault) else why_it_did_not_open(database, error)
        if fault.what not in MENDED_BY_THE_LIST:
            raise fault from error
        _clear(part)
        return fault
    return None


def _list_of(programme: Programme, damage: StoreFault) -> kept_ledger.KeptLedger:
    kept = kept_ledger.read(programme.store / "archive")
    if kept is None:
        raise StoreFault(
            "no list of the archive",
            where=str(programme.store / "archive" / kept_ledger.NAME),
            found=f"no such file, and {damage.what}",
            expected="the list that every run writes",
            next="restore store/ from a backup. Where there is none, move store/evenbeam.duckdb and store/archive "
            "aside (keep store/pseudonym.key and store/withdrawn) and run with all files in the inbox. Nothing was "
            "changed",
        ) from damage
    return kept


def _put_in_place(part: Path, database: Path) -> None:
    """The rebuilt file under the store's name, in one step; a log of the old one must not be taken for its own."""
    flush(part)
    database.with_name(database.name + ".wal").unlink(missing_ok=True)
    flush(part.parent)
    part.replace(database)
    flush(part.parent)


def _copy(database: Path, part: Path) -> None:
    with duckdb.connect(":memory:") as connection:
        for name, file, mode in (("old", database, " (read_only)"), ("anew", part, "")):
            quoted = "'" + str(file).replace("'", "''") + "'"  # attach takes no parameters
            connection.execute(f"attach {quoted} as {name}{mode}")
        connection.execute("copy from database old to anew")


@dataclass(frozen=True)
class _Part:
    """Files that are read one after the other, and when figures over all periods are worked out from them.

    over_periods: whether they are; where not, they rest on the files of the part before.
    """

    files: list[dict[str, Any]]
    now: WorkedOut
    over_periods: bool


def _begin_again(store: Store, programme: Programme, started_at: datetime) -> list[_Part]:
    """Forget every row that files give, and say in which order they are read: that in which runs read them.

    Where figures over all periods wait for their day, they rest on the files of the runs before, so those come first.
    """
    may_wait = programme.settings.results.over_periods_every_days > 0
    last = last_worked_out(store)
    with store.transaction():
        store.execute_file("42_forgotten_readings.sql")
        for table in _tables(store):
            store.execute(f"delete from {table}")  # names from this program's own schema
    found = store.frame("from again").to_dicts()
    _require_that_all_can_be_read(programme, found)
    found.sort(key=lambda file: (file["run_id"], file["site"], PurePosixPath(file["name"]).parts))
    last = last or WorkedOut(max((file["run_id"] for file in found), default=0), started_at.date())
    before = [file for file in found if file["run_id"] <= last.run_id]
    if may_wait and before and len(before) < len(found):
        return [_Part(before, last, over_periods=True), _Part(found[len(before) :], last, over_periods=False)]
    return [_Part(found, last, over_periods=True)]


def _compute(store: Store, programme: Programme, part: _Part, progress: Progress) -> None:
    with store.transaction():
        build_readings(store, programme)
        build_tallies(store, programme)
        refresh_results(store, programme, progress, now=part.now, over_periods=part.over_periods)
        store.require_no_rows("checks/file_accounting_adds_up.sql")


def _read_again(
    store: Store, programme: Programme, found: list[dict[str, Any]], started_at: datetime, progress: Progress
) -> IntakeSummary:
    """The kept copies, in the order given, with the day of the run that read each."""
    key = pseudonyms.read_key(programme.store / "pseudonym.key", accepted_files=len(found))
    pads = pseudonyms.pads_of(key)
    kept_out = tombstones.read(programme.store, withdrawals=ledger.withdrawals(store))
    settings = programme.settings

    of_all = Setting(programme, started_at.date(), started_at, 0, pads, kept_out)

    def begin(sibling: Store, file: dict) -> one_file.FileRead:
        as_of: date = file["as_of"]
        first_period = settings.retention.first_period(min(as_of, started_at.date()), settings.period)
        setting = replace(
            of_all, as_of=as_of, received_at=file["received_at"], run_id=file["run_id"], first_period=first_period
        )
        kept = archive.path_of(setting.archive, file["kept_sha256"])
        _require_as_it_was_kept(kept, file)
        entry = ledger.Entry(
            Arrival(file["site"], kept, file["name"]), file["sha256"], file["bytes"], file["received_at"],
            file["run_id"], file["kept_sha256"],
        )  # fmt: skip
        return one_file.begin_entry(sibling, setting, entry)

    def prepare(sibling: Store, files: Sequence[dict]) -> one_pass.Prepared:
        return one_pass.prepare(sibling, of_all, files, begin)

    def finish(sibling: Store, prepared: one_pass.Prepared) -> list[IntakeSummary]:
        return one_pass.finish(sibling, of_all, prepared, prepare_again=partial(prepare, sibling))

    together = list(passes(found, lambda file: file["bytes"]))
    summary, workers = IntakeSummary(), store.value("select current_setting('threads')")
    with closing(in_turn(store, together, prepare, finish, workers=workers)) as results:
        one_by_one = chain.from_iterable(results)
        for done, file in enumerate(found):
            progress(done, len(found), printable(f"{file['site']}/{file['name']}"))
            summary += next(one_by_one)
    return summary


def _require_that_all_can_be_read(programme: Programme, found: list[dict]) -> None:
    folder = programme.store / "archive"
    gone = [
        file
        for file in found
        if file["kept_sha256"] is None or not archive.path_of(folder, file["kept_sha256"]).exists()
    ]
    if gone:
        raise Fault(
            "kept copies gone",
            where=str(folder),
            found=f"no copy of {len(gone)} of {len(found)} files, such as {gone[0]['site']}/{gone[0]['name']}",
            expected="every accepted file",
            next="restore them from a backup. Where [retention] files let them go, the store cannot be rebuilt and "
            "stays as it is",
        )
    unknown = sorted({file["site"] for file in found} - set(programme.sites))
    if unknown:
        raise Fault(
            "site missing from the settings",
            where=str(programme.path),
            found=f"no site {unknown[0]}, and files of it in the store",
            expected="every site whose files were read",
            next="put it back under [[site]]",
        )


def _require_as_it_was_kept(kept: Path, file: dict) -> None:
    """A copy has its digest for a name: one that has changed would be read as if the site had sent it so."""
    if archive.digest_of(kept)[0] == file["kept_sha256"]:
        return
    is_as_sent = file["kept_sha256"] == file["sha256"]
    raise StoreFault(
        "kept copy damaged",
        where=str(kept),
        found=f"other bytes than those that were kept of {printable(file['site'] + '/' + file['name'])}",
        expected="the bytes whose sha256 is the copy's name",
        next="restore it from a backup"
        + (", or put the file there as the site sent it" if is_as_sent else "")
        + ". The store stays as it is",
    )


def _tables(store: Store) -> list[str]:
    found = store.rows(
        "select schema_name || '.' || table_name from duckdb_tables() "
        "where database_name = current_database() and list_contains($schemas, schema_name) order by all",
        {"schemas": list(COMPARED)},
    )
    return [name for (name,) in found]


def _compared(store: Store, database: Path) -> tuple[int, tuple[Difference, ...]]:
    quoted = "'" + str(database).replace("'", "''") + "'"
    store.execute(f"attach {quoted} as before (read_only)")
    differences = []
    tables = _tables(store)
    for table in tables:
        counts = [
            store.value(f"select count(*) from (from {one} except all from {other})")
            for one, other in ((f"before.{table}", table), (table, f"before.{table}"))
        ]
        if any(counts):
            differences.append(Difference(table, *counts))
    store.execute("detach before")
    return len(tables), tuple(differences)


@contextmanager
def _beside(part: Path) -> Iterator[None]:
    """The new file's place, empty before and after, whatever happens in between."""
    _clear(part)
    try:
        yield
    finally:
        _clear(part)


@contextmanager
def _spool(programme: Programme) -> Iterator[None]:
    spool = programme.store / "spool"
    shutil.rmtree(spool, ignore_errors=True)
    spool.mkdir(parents=True, mode=0o700)
    try:
        yield
    finally:
        shutil.rmtree(spool, ignore_errors=True)


def _clear(part: Path) -> None:
    for path in (part, part.with_name(part.name + ".wal")):
        path.unlink(missing_ok=True)
    shutil.rmtree(part.with_suffix(".spill"), ignore_errors=True)
