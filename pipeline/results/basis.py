"""What results stand on besides the readings: this program, its libraries, the settings, the profiles, the standard.

While that is the same, a figure changes only with the tallies under it, and what no file touched may stay as it is.
"""

from __future__ import annotations

import hashlib

from pipeline.own_source import program_digest
from pipeline.programme import Programme
from pipeline.store import Store

_PACKAGES = ("pipeline", "sql")
_LIBRARIES = ("duckdb", "polars", "numpy", "scipy", "scikit-learn")


def basis_of(programme: Programme) -> str:
    """A digest that differs where results could differ though the readings do not."""
    digest = hashlib.sha256(program_digest(_PACKAGES, _LIBRARIES).encode())
    digest.update(programme.sha256.encode())  # settings and profiles
    standard = programme.folder / programme.settings.bandings.standard_population
    if standard.is_file():  # else it is one of those beside the code
        digest.update(standard.read_bytes())
    return digest.hexdigest()


def results_are_current(store: Store, programme: Programme) -> bool:
    """Was result.* written from everything that is in the store, on the basis that holds now?

    But for figures over all periods, which may wait (pipeline/waiting_figures.py).
    """
    return store.rows("select basis, is_current from ledger.result_state") == [(basis_of(programme), True)]
