"""result.* → disclosure control → `published/latest/`: tables, descriptions, record and pages, all or nothing."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.disclosure import protect
from pipeline.disclosure.protect import Tables
from pipeline.disclosure.rounded_counts import rounded_counts
from pipeline.programme import Programme
from pipeline.release.citation import citation
from pipeline.release.csv_file import csv_bytes
from pipeline.release.data_package import data_package
from pipeline.release.decisions_kept import DecisionsKept
from pipeline.release.noise_kept import noisy_tables
from pipeline.release.parquet_file import parquet_bytes
from pipeline.release.protected_view import Progress, protected_view
from pipeline.release.record import release_record
from pipeline.release.schema import TABLES, Table
from pipeline.release.table import published_table
from pipeline.release.unsuppressed import TOTALS, Unsuppressed
from pipeline.release.versions import make_latest, unfinished_version
from pipeline.store import Store

LANGUAGE = "language.po"  # the words of the pages, where they are not English


def publish(
    store: Store,
    programme: Programme,
    as_of: date,
    *,
    build_pages: Callable[[Path], object],
    results: Unsuppressed | None = None,
    progress: Progress = lambda done, of, what: None,
) -> Path:
    """Publish the results of the store as `published/latest/`; returns that path.

    `build_pages(folder)` adds the pages; it finds the release's own files in the folder and nothing else. `results`:
    the store's, where the caller has read some.
    The same results, settings and date give the same bytes. When anything fails, what was published before
    stays published.

    What small groups need withheld is withheld without the proof that a frozen release has (pipeline/freezing.py): this
    is the programme's own view, made anew whenever a run has something to add (pipeline/publishing.py).

    Errors   Fault when `published/` holds something in the way that this program did not make.
    """
    results = results or Unsuppressed(store, programme.settings.disclosure)
    protected = protected_view(results, programme, progress)
    tables = [(table, published_table(table, protected[table.name])) for table in TABLES]
    tables += [(table, published_table(table, rows)) for table, rows in noisy_tables(store, programme, as_of)]
    with unfinished_version(programme.published) as folder:
        write_release(folder, programme, as_of, tables, protected[TOTALS])
        build_pages(folder)
        return make_latest(programme.published, folder, as_of.isoformat())


def proved_results(store: Store, programme: Programme) -> tuple[Tables, Tables]:
    """result.* as it is, and as a release may publish it: the tables of TABLES, and the totals under TOTALS."""
    rules = programme.settings.disclosure
    results = Unsuppressed(store, rules).whole()
    protected = protect(results, rules, memory=DecisionsKept(programme.store))
    return results, rounded_counts(protected, rules.rounding)


def write_release(
    folder: Path,
    programme: Programme,
    as_of: date,
    tables: list[tuple[Table, pl.DataFrame]],
    totals: pl.DataFrame,
    about: dict[str, Any] | None = None,
) -> None:
    """Write `data/`, `release.json` and its language into an empty folder; `about` adds to the record."""
    files: dict[str, bytes] = {}
    for table, rows in tables:
        files[f"{table.name}.csv"] = csv_bytes(rows)
        files[f"{table.name}.parquet"] = parquet_bytes(rows)
    package = data_package(programme.settings.name, as_of.isoformat(), [table for table, _ in tables], files)
    files["datapackage.json"] = json_bytes(package)
    (folder / "data").mkdir()
    for name, content in files.items():
        (folder / "data" / name).write_bytes(content)
    record = release_record(
        programme, as_of, tables, totals, {f"data/{name}": content for name, content in files.items()}
    )
    (folder / "release.json").write_bytes(json_bytes(record | (about or {})))
    if programme.language_file:
        (folder / LANGUAGE).write_bytes(programme.language_file.read_bytes())
    cited = citation(record["programme"], as_of, record["software"])
    (folder / "CITATION.cff").write_text(cited, encoding="utf-8", newline="\n")


def json_bytes(value: dict[str, Any]) -> bytes:
    return (json.dumps(value, sort_keys=True, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()
