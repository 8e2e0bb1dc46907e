"""What results stand on besides the readings: this program, its libraries, the settings, the profiles, the standard.

While that is the same, a figure changes only with the tallies under it, and what no file touched may stay as it is.
"""

from __future__ import annotations

import hashlib

from pipeline.own_source import program_digest
from pipeline.programme import Programme
from pipeline.results.standard import Standard

_PACKAGES = ("pipeline", "sql")
_LIBRARIES = ("duckdb", "polars", "numpy", "scipy", "scikit-learn")


def basis_of(programme: Programme, standard: Standard) -> str:
    """A digest that differs where results could differ though the readings do not."""
    digest = hashlib.sha256(program_digest(_PACKAGES, _LIBRARIES).encode())
    digest.update(programme.sha256.encode())  # settings and profiles
    digest.update(standard.bands.write_csv().encode())  # its file stands beside the settings
    return digest.hexdigest()
