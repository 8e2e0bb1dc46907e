"""This program as one digest: what another version of it, or of a library, could make otherwise is made anew."""

from __future__ import annotations

import hashlib
import platform
from functools import cache
from importlib import metadata, resources
from importlib.resources.abc import Traversable


@cache
def program_digest(packages: tuple[str, ...], libraries: tuple[str, ...]) -> str:
    """SHA-256 over every file of our `packages`, and over the versions of Python and of the `libraries`."""
    digest = hashlib.sha256(f"python {platform.python_version()}\n".encode())
    for package in packages:
        _add(digest, resources.files(package))
    for library in libraries:
        digest.update(f"{library} {metadata.version(library)}\n".encode())
    return digest.hexdigest()


def _add(digest: hashlib._Hash, folder: Traversable) -> None:
    for entry in sorted(folder.iterdir(), key=lambda one: one.name):
        if entry.is_dir():
            if entry.name != "__pycache__":
                _add(digest, entry)
        else:
            digest.update(f"{entry.name}\n".encode())
            digest.update(entry.read_bytes())
