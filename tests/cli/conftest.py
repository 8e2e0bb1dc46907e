from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from pipeline.cli import main
from pipeline.store import Store
from synthetic_cohort.generate import generate


@dataclass(frozen=True)
class SmallRun:
    """A small demo programme (invented people) that has been run once."""

    folder: Path
    exit_code: int

    def store(self) -> Store:
        return Store.open(self.folder / "store" / "evenbeam.duckdb", read_only=True)


@pytest.fixture(scope="session")
def small_run(tmp_path_factory: pytest.TempPathFactory) -> SmallRun:
    folder = tmp_path_factory.mktemp("small") / "programme"
    generate(folder, readings=2500, sites=5, quarters=3, seed=11)
    return SmallRun(folder, main(["run", str(folder), "--as-of", "2026-01-15"]))
