"""Tables of the truth on disk: in parts, so that none stands in memory whole."""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl

ROWS_A_PART = 500_000


class Parts:
    """A table written as part-00001.parquet, part-00002.parquet, … in the order in which frames are added."""

    def __init__(self, folder: Path):
        self.folder = folder
        self._waiting: list[pl.DataFrame] = []
        self._rows = self._written = 0
        folder.mkdir(parents=True)

    def add(self, frame: pl.DataFrame) -> None:
        self._waiting.append(frame)
        self._rows += frame.height
        if self._rows >= ROWS_A_PART:
            self.flush()

    def flush(self) -> None:
        if self._waiting:
            self._written += 1
            write_table(self._waiting, self.folder / f"part-{self._written:05d}.parquet")
            self._waiting, self._rows = [], 0

    def into_one_file(self, path: Path) -> None:
        """The parts as one file, streamed; the parts go."""
        self.flush()
        pl.scan_parquet(sorted(self.folder.glob("part-*.parquet")), glob=False).sink_parquet(path, statistics=False)
        shutil.rmtree(self.folder)


def write_table(frames: list[pl.DataFrame], path: Path) -> None:
    pl.concat(frames).rechunk().write_parquet(path, statistics=False)
