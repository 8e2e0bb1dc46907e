"""result.* → disclosure control → `published/latest/`: tables, descriptions, record and pages, all or nothing."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.disclosure import protect
from pipeline.disclosure.protect import Tables
from pipeline.disclosure.rounded_counts import rounded_counts
from pipeline.programme import Programme
from pipeline.release.citation import citation
from pipeline.release.contents import Content, Contents, content_of, written
from pipeline.release.csv_file import csv_pieces
from pipeline.release.data_package import data_package
from pipeline.release.decisions_kept import DecisionsKept
from pipeline.release.noise_kept import noisy_tables
from pipeline.release.parquet_file import write_parquet
from pipeline.release.protected_view import Progress, protected_view
from pipeline.release.record import Listing, listing, release_record
from pipeline.release.schema import TABLES, Table
from pipeline.release.table import published_table
from pipeline.release.unsuppressed import TOTALS, Unsuppressed
from pipeline.release.versions import Latest, make_latest, unfinished_version
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
) -> Latest:
    """Publish the results of the store as `published/latest/`.

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
    totals = protected[TOTALS]
    tables = [(table, protected.pop(table.name)) for table in TABLES]
    tables += noisy_tables(store, programme, as_of)
    with unfinished_version(programme.published) as folder:
        data = write_release(
            folder, programme, as_of, _one_by_one(tables), totals, over_periods_as_of=results.over_periods_as_of
        )
        build_pages(folder)
        return make_latest(programme.published, folder, as_of.isoformat(), data)


def _one_by_one(tables: list[tuple[Table, pl.DataFrame]]) -> Iterator[tuple[Table, pl.DataFrame]]:
    """Each table as it is published, made when it is asked for; nothing here holds what was handed on."""
    while tables:
        yield _published(*tables.pop(0))


def _published(table: Table, rows: pl.DataFrame) -> tuple[Table, pl.DataFrame]:
    return table, published_table(table, rows)


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
    tables: Iterable[tuple[Table, pl.DataFrame]],
    totals: pl.DataFrame,
    about: dict[str, Any] | None = None,
    over_periods_as_of: date | None = None,
) -> Contents:
    """Write `data/`, `release.json` and its language into an empty folder; `about` adds to the record.

    `over_periods_as_of`: the day that figures over all periods rest on, where it is an earlier one.

    `tables` may make each table as it is asked for: no more than one at a time is held here.
    Returns  what is in the files of `data/`, by their paths in the folder, so that nobody has to read them again.
    """
    data = folder / "data"
    data.mkdir()
    files: dict[str, Content] = {}
    listed: list[Listing] = []
    for table, rows in tables:
        files[f"{table.name}.csv"] = written(data / f"{table.name}.csv", csv_pieces(rows))
        write_parquet(rows, data / f"{table.name}.parquet")
        files[f"{table.name}.parquet"] = content_of(data / f"{table.name}.parquet")
        listed.append(listing(table, rows))
        del rows  # before the next one is made
    name = "datapackage.json"
    day = over_periods_as_of.isoformat() if over_periods_as_of else None
    package = data_package(
        programme.settings.name, as_of.isoformat(), [one.table for one in listed], files, over_periods_as_of=day
    )
    files[name] = written(data / name, [json_bytes(package)])
    files = {f"data/{name}": content for name, content in files.items()}
    record = release_record(programme, as_of, listed, totals, files, over_periods_as_of)
    (folder / "release.json").write_bytes(json_bytes(record | (about or {})))
    if programme.language_file:
        (folder / LANGUAGE).write_bytes(programme.language_file.read_bytes())
    cited = citation(record["programme"], as_of, record["software"])
    (folder / "CITATION.cff").write_text(cited, encoding="utf-8", newline="\n")
    return files


def json_bytes(value: dict[str, Any]) -> bytes:
    return (json.dumps(value, sort_keys=True, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()
