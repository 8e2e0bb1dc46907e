"""The ledger and the checks → result.data_quality."""

from __future__ import annotations

from pipeline.programme import Programme
from pipeline.store import Store


def build_data_quality(store: Store, programme: Programme) -> None:
    """Write result.data_quality anew: row accounting, readings, people, and every check, by site and period.

    Site '' stands for all sites together. Runs in the caller's transaction.
    """
    store.execute_file("40_result_data_quality.sql")
