"""The two files of a table: written whole, put together of periods, or taken over from the publication that stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.release.column import Table
from pipeline.release.contents import Content, content_of, written
from pipeline.release.csv_file import csv_pieces
from pipeline.release.csv_runs import CsvRuns, csv_of_periods
from pipeline.release.parquet_file import write_parquet
from pipeline.release.periods_kept import KeptPeriod
from pipeline.release.record import LISTED, Listing, listing
from pipeline.release.runs import Runs, leading_columns, runs_of
from pipeline.release.takeover import Takeover

_LONG = 100  # rows of a run: of shorter ones a place a row costs less than a view a run


@dataclass(frozen=True)
class TableFiles:
    """runs: how its periods lie in the CSV file, where it was put together of periods."""

    listing: Listing
    csv: Content
    parquet: Content
    runs: CsvRuns | None = None

    @property
    def contents(self) -> dict[str, Content]:
        name = self.listing.table.name
        return {f"{name}.csv": self.csv, f"{name}.parquet": self.parquet}


def write_table(data: Path, table: Table, rows: pl.DataFrame) -> TableFiles:
    """Shapes   rows: as published_table gives them."""
    csv = written(data / f"{table.name}.csv", csv_pieces(rows))
    return TableFiles(listing(table, rows), csv, _parquet(data, table, rows))


def take_over(data: Path, listed: Listing, standing: Takeover) -> TableFiles | None:
    """None where a file of the publication that stands turns out not to be as it was."""
    name = listed.table.name
    copies = {}
    for ending in ("csv", "parquet"):
        copies[ending] = standing.copied(f"{name}.{ending}", data)
        if copies[ending] is None:
            for one in copies:
                (data / f"{name}.{one}").unlink(missing_ok=True)
            return None
    return TableFiles(listed, copies["csv"], copies["parquet"], standing.makings.runs.get(name))


def listing_of_periods(table: Table, periods: Sequence[KeptPeriod]) -> Listing:
    names = [name for name in LISTED if name in table.column_names]
    parts = [listing(table, period.rows(table.name, names)) for period in periods]
    words = {name: frozenset().union(*(part.words[name] for part in parts)) for name in names}
    return Listing(table, sum(part.height for part in parts), words, None)


def write_table_of_periods(
    data: Path, listed: Listing, periods: Sequence[KeptPeriod], standing: Takeover | None
) -> TableFiles:
    """Shapes   periods: each with the table as published_table gives it, in the order of periods."""
    table = listed.table
    runs = runs_of(table, [period.rows(table.name, leading_columns(table)) for period in periods])
    pieces, lie = csv_of_periods(table, periods, runs, standing.csv(table.name) if standing else None)
    csv = written(data / f"{table.name}.csv", pieces)
    del pieces  # with the texts of new periods
    return TableFiles(listed, csv, _parquet(data, table, _put_together(table, periods, runs)), lie)


def _put_together(table: Table, periods: Sequence[KeptPeriod], runs: Runs) -> pl.DataFrame:
    """The table's rows: its runs one after the other, of which long ones are shown where they lie and not copied."""
    rows = [period.rows(table.name).select(table.column_names) for period in periods]
    if not runs.rows.size or runs.rows.mean() < _LONG:
        return pl.concat(rows)[runs.places()]
    lie = zip(runs.part.tolist(), runs.first.tolist(), runs.rows.tolist(), strict=True)
    return pl.concat([rows[part].slice(first, height) for part, first, height in lie])


def _parquet(data: Path, table: Table, rows: pl.DataFrame) -> Content:
    path = data / f"{table.name}.parquet"
    write_parquet(rows, path)
    return content_of(path)
