"""The invented programme, run once; each test that changes it takes a copy."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from invented_programme import Invented, invented

import dashboards
from pipeline.results import over_periods


@contextmanager
def no_pages_and_no_curves() -> Iterator[None]:
    """Pages and curves take most of a run's time and hold nothing that could not be rebuilt; tests/cli runs it all."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(dashboards, "build_pages", lambda folder: [])
        patch.setattr(over_periods, "build_curves", lambda store, settings, progress: None)
        yield


# Of a module, not of the session: other folders' tests come later in the same process, and want pages and curves.
@pytest.fixture(scope="module", autouse=True)
def quick_runs() -> Iterator[None]:
    with no_pages_and_no_curves():
        yield


@pytest.fixture(scope="session")
def run_once(tmp_path_factory) -> Invented:
    made = invented(tmp_path_factory.mktemp("removal") / "programme")
    with no_pages_and_no_curves():
        assert made.run("run", str(made.folder), "--as-of", "2025-07-10") == 0
    return made


@pytest.fixture
def programme(run_once, tmp_path) -> Invented:
    shutil.copytree(run_once.folder, tmp_path / "programme", symlinks=True)
    return Invented(tmp_path / "programme")
