"""A programme with one or two invented sites, and a store for its macros alone."""

import pytest
from invented_site import SITE, House

from pipeline.store import Store


@pytest.fixture
def house(tmp_path):
    made = House(tmp_path)
    yield made
    made.store.close()


@pytest.fixture
def two_sites(tmp_path):
    made = House(tmp_path, (SITE, "east-pier"))
    yield made
    made.store.close()


@pytest.fixture(scope="session")
def macros():
    """A store for its macros alone."""
    with Store.open(None) as opened:
        yield opened
