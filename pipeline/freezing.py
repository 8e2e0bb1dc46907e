"""`evenbeam release`: one period frozen for good, or a later version beside it, after the guard between releases.

The store stays as it is: the period is computed in a transaction in which later readings are gone, and which is always
rolled back. So a release says the same whether it is frozen before or after the next files come in.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import polars as pl

import dashboards
from pipeline import __version__
from pipeline.audit import require_sound, require_sound_tables
from pipeline.faults import Fault
from pipeline.fit_to_freeze import (
    next_version,
    require_a_period_that_is_over,
    require_everything_read,
    require_readings,
    require_same_groups,
)
from pipeline.intake import kept_ledger
from pipeline.language import require_language
from pipeline.programme import Programme
from pipeline.readings import build_readings
from pipeline.release import frozen, manifest
from pipeline.release.beside_frozen import account_beside, guarded
from pipeline.release.frozen import Version
from pipeline.release.frozen_tables import of_period, tables_in
from pipeline.release.publish import json_bytes, proved_results, write_release
from pipeline.release.restatement import RESTATEMENT, restatement_rows
from pipeline.release.schema import TABLES
from pipeline.release.table import published_table
from pipeline.results import build_results
from pipeline.sole_use import opened_alone, sole_use
from pipeline.store import Store
from pipeline.tallies import build_tallies

STEPS = (
    "Looking at what is there",
    "Computing the period",
    "Comparing with earlier releases",
    "Writing and freezing",
)
Tables = dict[str, pl.DataFrame]


@dataclass(frozen=True)
class Frozen:
    folder: Path
    version: Version
    manifest_sha256: str
    figures_changed: int | None  # against the version before; None for a first one
    remarks: tuple[str, ...]


class _Undo(Exception):
    """Ends the transaction in which a period is computed."""


def freeze(
    path: Path,
    period: str,
    *,
    why: str | None,
    keep_small_changes: bool,
    before_its_end: bool,
    as_of: date,
    on_step: Callable[[int, int, str], None],
    progress: Callable[[int, int, str], None],
) -> Frozen:
    """Freeze a period as its first version, or as a later one beside the others.

    `why` is required of a later version; `keep_small_changes` keeps the earlier figure where a change may not be told;
    `before_its_end` freezes a period that has not ended on `as_of`.
    Errors   Fault for a period that has not ended, has no reading or is frozen already; for files that wait in the
             inbox; for a restatement that would expose a few people, or that changes nothing. Nothing is frozen then.
    """
    programme = Programme.read(path)
    require_language(programme)
    database = programme.store / "evenbeam.duckdb"
    require_a_period_that_is_over(programme, period, as_of, before_its_end)
    if not database.exists():
        raise Fault(
            "nothing to freeze", where=str(database), expected="a store", next="evenbeam run PROGRAMME.toml"
        )
    limits = programme.settings.limits
    with (
        sole_use(programme.store),
        opened_alone(database, memory_limit=limits.memory, threads=limits.threads) as store,
    ):
        on_step(1, len(STEPS), STEPS[0])
        kept_ledger.require_store_has_all(store, programme.store / "archive")
        _finish_what_was_cut_off(store, programme)
        version = next_version(store, programme, period, why)
        require_everything_read(store, programme)
        require_readings(store, period)
        earlier = [
            frozen.folder_of(programme.published, Version(period, n)) for n in range(1, version.number)
        ]
        require_same_groups(programme, earlier)
        on_step(2, len(STEPS), STEPS[1])
        truth, tables = _computed(store, programme, period, progress)
        on_step(3, len(STEPS), STEPS[2])
        if earlier:  # proved as computed: what the guard puts back was proved with the version that first told it
            require_sound_tables(version.name, truth, tables, programme.settings.disclosure)
        tables = guarded(
            programme, version, tables, [tables_in(folder) for folder in earlier], keep_small_changes
        )
        account = account_beside(store, programme)
        on_step(4, len(STEPS), STEPS[3])
        return _written(store, programme, version, truth, tables, account, as_of, why)


def _finish_what_was_cut_off(store: Store, programme: Programme) -> None:
    """Record the versions whose folder got its name before a release was cut off, in the archive's list too."""
    begun = store.rows(
        "select period, version, manifest_sha256 from ledger.release where state = 'begun' order by all"
    )
    for period, number, digest in begun:
        path = frozen.folder_of(programme.published, Version(period, number)) / manifest.NAME
        if path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == digest:
            _mark_frozen(store, Version(period, number))
    kept_ledger.write(store, programme.store / "archive")


# ---- the period ---------------------------------------------------------------------------------------------


def _computed(
    store: Store, programme: Programme, period: str, progress: Callable[[int, int, str], None]
) -> tuple[Tables, Tables]:
    """The period's results and its published tables, as if the store ended with it."""
    results: Tables = {}
    protected: Tables = {}
    try:
        with store.transaction():
            store.execute_file("27_until_period.sql", period=period)
            build_readings(store, programme)
            build_tallies(store, programme)
            build_results(store, programme, progress)
            results, protected = proved_results(store, programme)
            raise _Undo
    except _Undo:
        pass
    published = {table.name: published_table(table, protected[table.name]) for table in TABLES}
    return of_period({table.name: results[table.name] for table in TABLES}, period), of_period(published, period)


def _totals(store: Store, quality: pl.DataFrame, period: str) -> pl.DataFrame:
    """What the period rests on in all: people and readings as data quality publishes them, and files, which are nobody.

    Read off the finished table, so that no total tells more than the counts beside it.
    """
    whole = {row["item"]: row for row in quality.filter(pl.col("site").is_null()).to_dicts()}
    files = store.value(
        "select count(distinct file_id) from reading.accepted where period = $period", {"period": period}
    )
    n = [files, whole.get("people", {}).get("n"), whole.get("readings", {}).get("denominator")]
    return pl.DataFrame(
        {"item": ["files", "people", "readings"], "n": n}, schema={"item": pl.String, "n": pl.Int64}
    )


# ---- the folder ---------------------------------------------------------------------------------------------


def _written(
    store: Store,
    programme: Programme,
    version: Version,
    truth: Tables,
    tables: Tables,
    account: pl.DataFrame,
    as_of: date,
    why: str | None,
) -> Frozen:
    listed = [(table, tables[table.name]) for table in TABLES]
    changed = None
    if version.number > 1:
        rows = _restated(programme, version, tables)
        changed = rows.height
        listed.append((RESTATEMENT, rows))
    about = {
        "release": version.name,
        "period": version.period,
        "version": version.number,
        "why": why,
        "bandings_chosen": programme.settings.bandings.model_dump(),
    }
    with frozen.unfinished_folder(programme.published) as folder:
        totals = _totals(store, tables["data_quality"], version.period)
        written = write_release(folder, programme, as_of, listed, totals, about)
        dashboards.build_pages(folder)
        if version.number == 1:
            require_sound(folder, truth, programme.settings.disclosure, has_own_totals=False)
        content = json_bytes(manifest.manifest_of(folder, programme, version, as_of, account, why, written))
        (folder / manifest.NAME).write_bytes(content)
        digest = hashlib.sha256(content).hexdigest()
        _record(store, programme, version, digest, as_of, why)
        target = frozen.finish(programme.published, folder, version)
    _mark_frozen(store, version)
    kept_ledger.write(store, programme.store / "archive")
    return Frozen(target, version, digest, changed, _remarks(store))


def _restated(programme: Programme, version: Version, tables: Tables) -> pl.DataFrame:
    """Every figure that is not as in the version before.

    Errors   Fault where there is none.
    """
    before = tables_in(frozen.folder_of(programme.published, Version(version.period, version.number - 1)))
    rows = restatement_rows(list(TABLES), before, tables)
    if not rows.height:
        raise Fault(
            "nothing to restate",
            where=version.name,
            found="the figures of the version before, every one",
            expected="a figure that changed, and may be told",
            next="nothing: the version before stands. Nothing was frozen",
        )
    return rows


def _record(
    store: Store, programme: Programme, version: Version, digest: str, as_of: date, why: str | None
) -> None:
    """The store's own memory of the manifest, before the folder has its name: a crash between leaves it `begun`."""
    same = {"period": version.period, "version": version.number}
    with store.transaction():
        store.execute("delete from ledger.release where period = $period and version = $version", same)
        store.execute(
            "insert into ledger.release values ($period, $version, $folder, $manifest, $as_of, $software, $settings, "
            "$why, 'begun')",
            {
                **same,
                "folder": version.name,
                "manifest": digest,
                "as_of": as_of,
                "software": f"evenbeam {__version__}",
                "settings": programme.sha256,
                "why": why,
            },
        )


def _mark_frozen(store: Store, version: Version) -> None:
    store.execute(
        "update ledger.release set state = 'frozen' where period = $period and version = $version",
        {"period": version.period, "version": version.number},
    )


def _remarks(store: Store) -> tuple[str, ...]:
    held = store.value("select count(*) from ledger.file where state <> 'accepted'")
    if not held:
        return ()
    return (
        f"note  {held} held or refused files are not in this release; `evenbeam status` names them. "
        "Mended later, they make a restatement",
    )
