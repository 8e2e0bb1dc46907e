"""What must be true of a programme whatever happened to it, and what makes two of them the same."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from pipeline.intake import archive, kept_ledger
from pipeline.programme import Programme
from pipeline.release.contents import contents_of, digest_of
from pipeline.release.table_schema_check import faults_of
from pipeline.store import Store
from pipeline.verifying import verify_all

# What tells the time or the number of a run, which a killed one uses up, is not what makes two stores the same.
_LEDGER = {
    "ledger.file": "select file_id, site, name, sha256, kept_sha256, bytes, state, format, encoding, profile_sha256, "
    "sheet, reason_code, rows_read, rows_accepted, rows_held, rows_duplicate, rows_superseded, rows_withdrawn, "
    "rows_expired, has_row_account, is_built, run.as_of from ledger.file join ledger.run as run using (run_id)",
    "ledger.stale_period": "from ledger.stale_period",
    "ledger.over_periods_state": "select as_of from ledger.over_periods_state",
    "ledger.over_periods_stale": "from ledger.over_periods_stale",
    "ledger.file_without_visits": "from ledger.file_without_visits",
    "ledger.removal": "select as_of, cause, rows, copies, is_erased from ledger.removal",
    "ledger.removal_file": "select file_id, rows from ledger.removal_file",
    "ledger.release": "from ledger.release",
    "ledger.held_row": "from ledger.held_row",
    "ledger.unaccepted_row": "from ledger.unaccepted_row",
}


def published(folder: Path) -> tuple[str, list[str]]:
    """The digest of published/latest ('' where nothing was published yet), and what is wrong with it."""
    latest = folder / "published" / "latest"
    if not latest.is_symlink():
        return "", [] if not latest.exists() else ["published/latest is no link"]
    version = latest.resolve()
    if not version.is_dir():
        return "", ["published/latest leads nowhere"]
    digest, faults = digest_of(contents_of(version)), []
    if digest[:16] not in version.name:
        faults.append("published/latest is not whole: its files are not those of its name")
    faults += faults_of(version / "data")
    record = json.loads((version / "release.json").read_text(encoding="utf-8"))
    faults += [f"no {name}" for name in ("index.html",) if not (version / name).is_file()]
    return digest, faults if record else [*faults, "an empty record"]


def frozen_faults(folder: Path) -> list[str]:
    """What is wrong with frozen releases, by their manifests."""
    if not any((folder / "published" / "releases").glob("2*")):
        return []
    return [fault for verdict in verify_all(folder / "programme.toml", None) for fault in verdict.faults]


def contents(folder: Path) -> dict[str, Any]:
    """Table → its rows, as far as they say what the store says; and the files that make the rest of it."""
    found: dict[str, Any] = {}
    with Store.open(folder / "store" / "evenbeam.duckdb", read_only=True) as store:
        tables = store.rows(
            "select schema_name || '.' || table_name from duckdb_tables() "
            "where schema_name in ('reading', 'tally', 'result', 'reference') and not temporary order by all"
        )
        queries = {name: f"from {name}" for (name,) in tables} | _LEDGER
        for name, query in queries.items():
            rows = sorted(store.rows(query), key=repr)
            found[name] = (len(rows), hashlib.sha256(repr(rows).encode()).hexdigest())
        kept = ledger_copies(store)
    store_folder = folder / "store"
    for name in ("withdrawn", "noisy_counts.json", "pseudonym.key"):
        path = store_folder / name
        found[name] = path.read_bytes() if path.exists() else None
    found["kept copies"] = sorted(kept)
    found["frozen"] = {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted((folder / "published" / "releases").glob("*/**/*"))
        if path.is_file()
    }
    return found


def ledger_copies(store: Store) -> set[str]:
    return {
        sha256 for (sha256,) in store.rows("select kept_sha256 from ledger.file where kept_sha256 is not null")
    }


def faults(folder: Path) -> list[str]:
    """Promises that are broken in a programme after a run that finished."""
    wrong = []
    programme = Programme.read(folder / "programme.toml")
    kept_in = programme.store / "archive"
    with Store.open(programme.store / "evenbeam.duckdb", read_only=True) as store:
        for check in ("file_accounting_adds_up", "participant_period_is_unique", "tally_value_counts_everybody"):
            of_all = {} if check == "file_accounting_adds_up" else {"periods": None}
            wrong += [f"{check}: {row}" for row in store.rows(_sql(f"checks/{check}.sql"), of_all)]
        twice = store.rows("select site, sha256 from ledger.file group by all having count(*) > 1")
        wrong += [f"in the ledger twice: {row}" for row in twice]
        twice = store.rows("select reading_id from reading.accepted group by all having count(*) > 1")
        wrong += [f"counted twice: {row}" for row in twice]
        lost = store.rows(
            "select file.file_id from ledger.file as file left join reading.accepted as accepted using (file_id) "
            "group by file.file_id, rows_accepted, state having state = 'accepted' and "
            "count(accepted.reading_id) > rows_accepted"
        )
        wrong += [f"more readings than the account says: {row}" for row in lost]
        if store.value("select count(*) from ledger.removal where not is_erased"):
            wrong.append("a removal whose file was not written anew")
        named = ledger_copies(store)
        accepted = set(store.rows("select site, sha256 from ledger.file where state = 'accepted'"))
    there = {path.name: archive.digest_of(path)[0] for path in kept_in.glob("[0-9a-f][0-9a-f]/*")}
    wrong += [f"a copy that is not what its name says: {name}" for name, digest in there.items() if name != digest]
    wrong += [f"no copy {name}" for name in named - set(there)]
    kept = kept_ledger.read(kept_in)
    if kept is None or kept.accepted != accepted or kept.arriving:
        wrong.append("the archive's list says something else than the store")
    left = [
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.name.endswith((".part", ".rebuilt", ".anew", ".spill")) or path.name in ("unfinished", ".unfinished")
    ]
    wrong += [f"left over: {name}" for name in left]
    return wrong


def _sql(name: str) -> str:
    from pipeline.store import sql_text

    return sql_text(name)
