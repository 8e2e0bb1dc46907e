from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from cohort_files import Demo

from synthetic_cohort.faults import FaultRates

# Every kind is common enough here that a small programme holds all of them.
RAISED = FaultRates(
    *(0.015,) * 11,
    cut_off_files=3,
    totals_rows=3,
    empty_files=2,
    header_only_files=2,
    files_sent_again=3,
    files_with_identifiers=2,
)


@pytest.fixture(scope="session")
def sound(tmp_path_factory) -> Demo:
    """24 sites, 8 quarters, no faults."""
    return Demo.made(tmp_path_factory.mktemp("sound") / "demo", readings=9_000, faults=False)


@pytest.fixture(scope="session")
def faulty(tmp_path_factory) -> Demo:
    """The same with many faults."""
    return Demo.made(tmp_path_factory.mktemp("faulty") / "demo", readings=9_000, faults=RAISED)
