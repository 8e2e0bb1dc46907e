"""Hostile input at every door: the house of tests/intake, and the invented release of tests/dashboards."""

import sys
from pathlib import Path

import pytest

for folder in ("intake", "dashboards"):
    sys.path.insert(0, str(Path(__file__).parents[1] / folder))
from invented_site import House  # noqa: E402


@pytest.fixture
def house(tmp_path):
    made = House(tmp_path)
    yield made
    made.store.close()
