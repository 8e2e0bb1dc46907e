"""What results stand on besides the readings: this program, its libraries, the settings, the profiles, the standard.

While that is the same, a figure changes only with the tallies under it, and what no file touched may stay as it is.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import metadata, resources
from importlib.resources.abc import Traversable

from pipeline.programme import Programme
from pipeline.results.standard import Standard

_PACKAGES = ("pipeline", "sql")
_LIBRARIES = ("duckdb", "polars", "numpy", "scipy", "scikit-learn")


def basis_of(programme: Programme, standard: Standard) -> str:
    """A digest that differs where results could differ though the readings do not."""
    digest = hashlib.sha256(_program().encode())
    digest.update(programme.sha256.encode())  # settings and profiles
    digest.update(standard.bands.write_csv().encode())  # its file stands beside the settings
    return digest.hexdigest()


@cache
def _program() -> str:
    """Every module and statement of this program, byte for byte, and the libraries that reckon for it."""
    digest = hashlib.sha256()
    for package in _PACKAGES:
        _add(digest, resources.files(package))
    for library in _LIBRARIES:
        digest.update(f"{library} {metadata.version(library)}\n".encode())
    return digest.hexdigest()


def _add(digest: hashlib._Hash, folder: Traversable) -> None:
    for entry in sorted(folder.iterdir(), key=lambda one: one.name):
        if entry.is_dir():
            _add(digest, entry)
        elif entry.name.endswith((".py", ".sql", ".csv")):
            digest.update(f"{entry.name}\n".encode())
            digest.update(entry.read_bytes())
