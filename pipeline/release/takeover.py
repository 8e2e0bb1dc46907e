"""What a publication can take over from the one that stands: tables that are as they were, and the periods of others.

Whether a table is as it was is asked of what it was made of: a digest of its rows after disclosure control, of the
rules, and of this program. It lies in the store and not beside the pages, for the reason that pipeline/release/
standing.py gives.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.release.contents import Content, Contents, written
from pipeline.release.csv_runs import CsvRuns, StandingCsv

_COPIED_AT_ONCE = 1 << 24  # bytes


@dataclass(frozen=True)
class Makings:
    """What the tables of a publication were made of, and how the periods of some lie in their CSV files."""

    made_of: Mapping[str, str] = field(default_factory=dict)  # table → digest
    runs: Mapping[str, CsvRuns] = field(default_factory=dict)  # table → of its CSV file

    def runs_packed(self) -> bytes:
        """As a small Parquet file, the same for the same runs."""
        parts = [
            pl.DataFrame(
                {"table": pl.Series([name]).new_from_index(0, runs.bytes.size), "made_of": runs.made_of,
                 "bytes": pl.Series(runs.bytes, dtype=pl.Int64)}
            )
            for name, runs in sorted(self.runs.items())
        ]  # fmt: skip
        none = pl.DataFrame(schema={"table": pl.String, "made_of": pl.String, "bytes": pl.Int64})
        buffer = io.BytesIO()
        pl.concat([none, *parts]).write_parquet(buffer, compression="zstd", statistics=False)
        return buffer.getvalue()


def runs_unpacked(content: bytes) -> dict[str, CsvRuns]:
    rows = pl.read_parquet(io.BytesIO(content))
    return {
        name: CsvRuns(part["made_of"], part["bytes"].to_numpy().astype(np.int64))
        for (name,), part in rows.partition_by("table", as_dict=True).items()
    }


@dataclass(frozen=True)
class Takeover:
    """The files of `data/` of the publication that stands, which are as they were written."""

    data: Path
    contents: Contents  # file name → what is in it
    makings: Makings

    def has(self, table: str, made_of: str) -> bool:
        return self.makings.made_of.get(table) == made_of and all(
            f"{table}.{ending}" in self.contents for ending in ("csv", "parquet")
        )

    def copied(self, name: str, to: Path) -> Content | None:
        """A file of the same name in another folder; None, and no file, where it turns out not to be as it was."""
        copy = written(to / name, _pieces(self.data / name))
        if copy.sha256 == self.contents[name].sha256:
            return copy
        (to / name).unlink()
        return None

    def csv(self, table: str) -> StandingCsv | None:
        runs = self.makings.runs.get(table)
        return None if runs is None else StandingCsv(self.data / f"{table}.csv", runs)


def _pieces(path: Path) -> Iterator[bytes]:
    with path.open("rb", buffering=0) as file:
        while piece := file.read(_COPIED_AT_ONCE):
            yield piece
