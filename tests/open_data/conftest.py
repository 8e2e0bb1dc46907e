from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import polars as pl
import pytest

from pipeline.store import Store

sys.path.insert(0, str(Path(__file__).parent))
from programme_of_open_data import write_programme


@dataclass(frozen=True)
class OpenRun:
    folder: Path
    exit_code: int
    stdout: str
    stderr: str

    def published(self, table: str) -> pl.DataFrame:
        return pl.read_parquet(self.folder / "published" / "latest" / "data" / f"{table}.parquet")

    def stored(self, query: str) -> pl.DataFrame:
        with Store.open(self.folder / "store" / "evenbeam.duckdb", read_only=True) as store:
            return store.frame(query)


@pytest.fixture(scope="session")
def open_run(tmp_path_factory: pytest.TempPathFactory) -> OpenRun:
    """The whole command line over the four datasets, as a user would run it."""
    folder = tmp_path_factory.mktemp("open-data")
    settings = write_programme(folder / "programme")
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli", "run", str(settings), "--as-of", "2025-10-15"],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    return OpenRun(settings.parent, done.returncode, done.stdout, done.stderr)
