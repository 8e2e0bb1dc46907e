"""A table's CSV put together of its periods: of those that are as they were, the bytes that stand are taken.

Of a year's readings at hundreds of sites a gigabyte of text is written, of which a night changes one period. A line is
the same text wherever it stands, so the lines of a period that was made of the same are copied, run by run (runs.py),
from the file of the publication that stands.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from pipeline.release.column import Table
from pipeline.release.csv_file import csv_pieces
from pipeline.release.runs import Runs

if TYPE_CHECKING:  # a name of a type, and behind it disclosure control with its solvers: most of a second
    from pipeline.release.periods_kept import KeptPeriod

_LOOKED_AT_ONCE = 1 << 18  # bytes: they stay in the processor's cache
_COPIED_AT_ONCE = 1 << 24  # bytes
_LINE_END = 10
_STANDING = -1


@dataclass(frozen=True)
class CsvRuns:
    """How runs lie in a CSV file, one after the other behind its header.

    Shapes   both (runs,), in the file's order. made_of: a digest of what the run's period was made of; bytes: how long.
    """

    made_of: pl.Series
    bytes: np.ndarray

    def of(self, made_of: str, behind: int) -> tuple[np.ndarray, np.ndarray]:
        """Where the runs of a period begin behind a header of so many bytes, and how long they are."""
        here = (self.made_of == made_of).to_numpy()
        return (behind + np.cumsum(self.bytes) - self.bytes)[here], self.bytes[here]


@dataclass(frozen=True)
class StandingCsv:
    """The file of a publication that is as it was written, and how runs lie in it."""

    path: Path
    runs: CsvRuns


def csv_of_periods(
    table: Table, periods: Sequence[KeptPeriod], runs: Runs, standing: StandingCsv | None
) -> tuple[Iterator[bytes], CsvRuns]:
    """The bytes of a table's CSV file, a piece at a time, and how runs lie in it.

    Shapes   runs: of these periods. The bytes are those of csv_pieces of the table's rows in their order.
    Errors   ValueError where a text has a line break: a line then is not a row. OSError where the file that stands
             ends before what is taken of it.
    """
    header = b"".join(csv_pieces(periods[0].rows(table.name).clear().select(table.column_names)))
    begins, lengths, source = (np.zeros(runs.part.size, np.int64) for _ in range(3))
    texts: dict[int, bytearray] = {}
    for part, period in enumerate(periods):
        here = np.flatnonzero(runs.part == part)
        found = _standing_runs(standing, period, len(header))
        if found is not None and found[0].size == here.size:
            begins[here], lengths[here], source[here] = *found, _STANDING
        else:
            texts[part], ends = _lines(table, period)
            begins[here] = ends[runs.first[here]]
            lengths[here] = ends[runs.first[here] + runs.rows[here]] - begins[here]
            source[here] = part
    made_of = pl.Series([period.made_of for period in periods], dtype=pl.String).gather(runs.part)
    return _pieces(header, standing, texts, begins, lengths, source), CsvRuns(made_of, lengths)


def _standing_runs(
    standing: StandingCsv | None, period: KeptPeriod, behind: int
) -> tuple[np.ndarray, np.ndarray] | None:
    if standing is None or standing.path.stat().st_size != behind + int(standing.runs.bytes.sum()):
        return None
    return standing.runs.of(period.made_of, behind)


def _lines(table: Table, period: KeptPeriod) -> tuple[bytearray, np.ndarray]:
    """A period's rows as CSV, and where each line ends, the header's first."""
    text, ends = bytearray(), []
    rows = period.rows(table.name).select(table.column_names)
    for piece in csv_pieces(rows):
        signs = np.frombuffer(piece, np.uint8)
        for start in range(0, signs.size, _LOOKED_AT_ONCE):
            part = signs[start : start + _LOOKED_AT_ONCE]
            ends.append(np.flatnonzero(part == _LINE_END) + (len(text) + start + 1))
        text += piece
    found = np.concatenate(ends)
    if found.size != rows.height + 1:
        raise ValueError(f"table {table.name}, {period.period}: a text has a line break")
    return text, found


def _pieces(
    header: bytes,
    standing: StandingCsv | None,
    texts: dict[int, bytearray],
    begins: np.ndarray,
    lengths: np.ndarray,
    source: np.ndarray,
) -> Iterator[bytes]:
    """Runs that follow each other where they come from are one piece."""
    yield header
    if not begins.size:
        return
    goes_on = (source[1:] == source[:-1]) & (begins[1:] == (begins + lengths)[:-1])
    firsts = [0, *(np.flatnonzero(~goes_on) + 1).tolist(), begins.size]
    views = {part: memoryview(text) for part, text in texts.items()}
    with standing.path.open("rb", buffering=0) if standing else nullcontext() as file:
        for first, after in pairwise(firsts):
            begin, end = int(begins[first]), int(begins[after - 1] + lengths[after - 1])
            if source[first] == _STANDING:
                yield from _read(file, begin, end)
            else:
                yield views[int(source[first])][begin:end]


def _read(file: io.FileIO, begin: int, end: int) -> Iterator[bytes]:
    file.seek(begin)
    while begin < end:
        piece = file.read(min(end - begin, _COPIED_AT_ONCE))
        if not piece:
            raise OSError(f"{file.name} was cut off while it was read")
        begin += len(piece)
        yield piece
