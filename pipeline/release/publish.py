"""result.* → disclosure control → `published/latest/`: tables, descriptions, record and pages, all or nothing."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.disclosure import protect
from pipeline.disclosure.protect import Tables
from pipeline.disclosure.rounded_counts import rounded_counts
from pipeline.periods_apart import BY_PERIOD
from pipeline.programme import Programme
from pipeline.release.citation import citation
from pipeline.release.contents import Contents, written
from pipeline.release.data_package import data_package
from pipeline.release.decisions_kept import DecisionsKept
from pipeline.release.noise_kept import noisy_tables
from pipeline.release.protected_view import Progress, View, protected_view
from pipeline.release.record import listing, release_record
from pipeline.release.schema import TABLES, Table
from pipeline.release.table import published_table
from pipeline.release.table_files import (
    TableFiles,
    listing_of_periods,
    take_over,
    write_table,
    write_table_of_periods,
)
from pipeline.release.takeover import Makings, Takeover
from pipeline.release.unsuppressed import TOTALS, Unsuppressed
from pipeline.release.versions import make_latest, unfinished_version
from pipeline.store import Store

LANGUAGE = "language.po"  # the words of the pages, where they are not English


@dataclass(frozen=True)
class Published:
    """`latest`, what is in its files, and what its tables were made of."""

    path: Path
    contents: Contents
    makings: Makings


def publish(
    store: Store,
    programme: Programme,
    as_of: date,
    *,
    build_pages: Callable[[Path], object],
    results: Unsuppressed | None = None,
    standing: Takeover | None = None,
    progress: Progress = lambda done, of, what: None,
) -> Published:
    """Publish the results of the store as `published/latest/`.

    `build_pages(folder)` adds the pages; it finds the release's own files in the folder and nothing else. `results`:
    the store's, where the caller has read some. `standing`: the publication that stands, where its files are as they
    were written.
    The same results, settings and date give the same bytes, whatever is taken over. When anything fails, what was
    published before stays published.

    What small groups need withheld is withheld without the proof that a frozen release has (pipeline/freezing.py): this
    is the programme's own view, made anew whenever a run has something to add (pipeline/publishing.py).

    Errors   Fault when `published/` holds something in the way that this program did not make.
    """
    results = results or Unsuppressed(store, programme.settings.disclosure)
    view = protected_view(results, programme, progress)
    noisy = noisy_tables(store, programme, as_of)
    with unfinished_version(programme.published) as folder:
        data = make_data(folder)
        tables = [_of_view(data, table, view, standing) for table in TABLES]
        tables += [write_table(data, table, published_table(table, rows)) for table, rows in noisy]
        known = write_record(
            folder, programme, as_of, tables, view.rest[TOTALS], over_periods_as_of=results.over_periods_as_of
        )
        build_pages(folder)
        latest = make_latest(programme.published, folder, as_of.isoformat(), known)
    made_of = {table.name: view.made_of(table.name) for table in TABLES}
    runs = {files.listing.table.name: files.runs for files in tables if files.runs}
    return Published(latest.path, latest.contents, Makings(made_of, runs))


def _of_view(data: Path, table: Table, view: View, standing: Takeover | None) -> TableFiles:
    """Its files taken over from the publication that stands where they are as they were, and made otherwise."""
    is_by_period = table.name in BY_PERIOD
    listed = listing_of_periods(table, view.periods) if is_by_period else listing(table, view.rest[table.name])
    if standing and standing.has(table.name, view.made_of(table.name)):
        files = take_over(data, listed, standing)
        if files:
            return files
    if is_by_period:
        return write_table_of_periods(data, listed, view.periods, standing)
    return write_table(data, table, published_table(table, view.rest[table.name]))


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
) -> Contents:
    """Write `data/`, `release.json` and its language into an empty folder; `about` adds to the record.

    `tables` may make each table as it is asked for: no more than one at a time is held here.
    Returns  what is in the files of `data/`, by their paths in the folder, so that nobody has to read them again.
    """
    data = make_data(folder)
    return write_record(folder, programme, as_of, [write_table(data, *table) for table in tables], totals, about)


def make_data(folder: Path) -> Path:
    data = folder / "data"
    data.mkdir()
    return data


def write_record(
    folder: Path,
    programme: Programme,
    as_of: date,
    tables: list[TableFiles],
    totals: pl.DataFrame,
    about: dict[str, Any] | None = None,
    *,
    over_periods_as_of: date | None = None,
) -> Contents:
    """As write_release, of tables whose files stand in `data/`.

    `over_periods_as_of`: the day that figures over all periods rest on, where it is an earlier one.
    """
    files = {name: content for table in tables for name, content in table.contents.items()}
    listed = [table.listing for table in tables]
    name = "datapackage.json"
    day = over_periods_as_of.isoformat() if over_periods_as_of else None
    package = data_package(
        programme.settings.name, as_of.isoformat(), [one.table for one in listed], files, over_periods_as_of=day
    )
    files[name] = written(folder / "data" / name, [json_bytes(package)])
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
