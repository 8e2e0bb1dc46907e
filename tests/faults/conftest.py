"""The small programme of nights.py, run once; each test that changes it takes a copy."""

from __future__ import annotations

import shutil
from pathlib import Path

import nights
import pytest

import dashboards
from pipeline.results import building


@pytest.fixture(scope="session", autouse=True)
def no_pages_and_no_comparisons():
    """They take most of a run's time and write nothing of their own that could be lost."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(dashboards, "build_pages", nights.pages)
        for name in nights.LEFT_OUT:
            patch.setattr(building, name, lambda *_: None)
        yield


@pytest.fixture(scope="session")
def run_once(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("faults") / "programme"
    nights.begin(folder)
    assert nights.command(nights.RUN, folder)[0] == 0
    return folder


@pytest.fixture
def programme(run_once, tmp_path) -> Path:
    return Path(shutil.copytree(run_once, tmp_path / "programme", symlinks=True))
