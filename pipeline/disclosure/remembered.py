"""Decisions that were made before, looked up by a hash of everything they rest on.

A quarter whose counts are as they were need not be proved again: a freeze that was refused or cut off is repeated, and
each decides on the earlier quarters too, since trends stand on them. What is looked up is what would be worked out: the
hash takes in every count, sum, price and
rule of the piece, the source of this package and the solver's version. A memory that is empty, cut off or lost costs
time and nothing else. It holds which places are withheld and no count.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Protocol

import numpy as np
import scipy
from scipy.sparse import csr_array

from pipeline.disclosure.reader import Piece

Arrays = tuple[np.ndarray, ...]


class Memory(Protocol):
    """Where decisions are kept: content by key. Reading what is not there gives None; keeping may silently fail."""

    def read(self, key: str) -> bytes | None: ...

    def keep(self, key: str, content: bytes) -> None: ...


def remembered(
    memory: Memory | None, piece: Piece, rest: tuple[np.ndarray | csr_array, ...], work: Callable[[], Arrays]
) -> Arrays:
    """What `work` gives for a piece, from memory where it was done before on the same piece and the same `rest`."""
    if memory is None:
        return work()
    key = _key(piece, rest)
    known = _opened(memory.read(key))
    if known is not None:
        return known
    made = work()
    memory.keep(key, _closed(made))
    return made


def _key(piece: Piece, rest: tuple[np.ndarray | csr_array, ...]) -> str:
    """Numbers of classes are left out: they change when other periods come in, and decide nothing."""
    digest = hashlib.sha256(_maker())
    for name, array in vars(piece).items():
        if name == "equation":  # its numbers change likewise; which entries are one equation does not
            array = np.unique(array, return_inverse=True)[1]
        if name != "classes":
            _take(digest, array)
    for array in rest:
        for part in (array.data, array.indices, array.indptr) if isinstance(array, csr_array) else (array,):
            _take(digest, part)
    return digest.hexdigest()


def _take(digest: hashlib._Hash, array: np.ndarray) -> None:
    array = np.ascontiguousarray(array)
    digest.update(f"{array.dtype.str} {array.shape} ".encode())
    digest.update(array.tobytes())


@cache
def _maker() -> bytes:
    """The source of this package and the version of the solver: another one may decide otherwise."""
    digest = hashlib.sha256(scipy.__version__.encode())
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.digest()


def _closed(arrays: Arrays) -> bytes:
    held = io.BytesIO()
    np.savez_compressed(held, *arrays)
    body = held.getvalue()
    return hashlib.sha256(body).digest() + body


def _opened(content: bytes | None) -> Arrays | None:
    if content is None or hashlib.sha256(content[32:]).digest() != content[:32]:
        return None
    try:
        with np.load(io.BytesIO(content[32:]), allow_pickle=False) as held:
            return tuple(held[f"arr_{place}"] for place in range(len(held.files)))
    except (ValueError, KeyError, OSError, zipfile.BadZipFile):
        return None
