"""One invented release with its pages, built once; tests read it and leave it as it is."""

from __future__ import annotations

from pathlib import Path

import pytest
from invented_release import make_release

from dashboards import build_pages


@pytest.fixture(scope="session")
def release_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A release of six sites, the first with a hostile name, with its pages."""
    folder = make_release(tmp_path_factory.mktemp("release"), hostile=True)
    build_pages(folder)
    return folder
