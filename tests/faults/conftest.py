"""The small programme of nights.py, run once; each test that changes it takes a copy."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import nights
import pytest

import dashboards


@contextmanager
def no_pages_and_no_comparisons() -> Iterator[None]:
    """They take most of a run's time and write nothing of their own that could be lost."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(dashboards, "build_pages", nights.pages)
        for module, name in nights.LEFT_OUT:
            patch.setattr(f"pipeline.results.{module}.{name}", lambda *_: None)
        yield


# Of a module, not of the session: other folders' tests come later in the same process, and want pages and comparisons.
@pytest.fixture(scope="module", autouse=True)
def quick_runs() -> Iterator[None]:
    with no_pages_and_no_comparisons():
        yield


@pytest.fixture(scope="session")
def run_once(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("faults") / "programme"
    nights.begin(folder)
    with no_pages_and_no_comparisons():
        assert nights.command(nights.RUN, folder)[0] == 0
    return folder


@pytest.fixture
def programme(run_once, tmp_path) -> Path:
    return Path(shutil.copytree(run_once, tmp_path / "programme", symlinks=True))
