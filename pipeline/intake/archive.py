"""Received files, kept unchanged under the sha256 of their bytes: store/archive/<first 2 digits>/<sha256>.

A file is written under a temporary name, checked, flushed to disk and renamed: what stands under a digest is
always complete. Keeping the same bytes twice changes nothing.
"""

from __future__ import annotations

import hashlib
import os
import uuid
from collections.abc import Iterator
from pathlib import Path

from pipeline.durable import flush, make_folder
from pipeline.faults import FileHeld

_CHUNK = 1 << 20


def digest_of(path: Path) -> tuple[str, int]:
    """sha256 and size of a file's bytes."""
    digest, size = hashlib.sha256(), 0
    for chunk in _chunks(path):
        digest.update(chunk)
        size += len(chunk)
    return digest.hexdigest(), size


def path_of(archive: Path, sha256: str) -> Path:
    return archive / sha256[:2] / sha256


def keep(path: Path, archive: Path, sha256: str, *, where: str) -> Path:
    """Put a copy of `path` into the archive and return its place there. A copy that has changed since is replaced.

    Errors   FileHeld when the bytes are no longer those of `sha256`: somebody is still writing the file.
    """
    kept = path_of(archive, sha256)
    if kept.exists() and digest_of(kept)[0] == sha256:
        if digest_of(path)[0] != sha256:
            raise still_changing(where)
        return kept
    make_folder(kept.parent)
    part = kept.with_name(f".{sha256}.{uuid.uuid4().hex}.part")
    try:
        digest = hashlib.sha256()
        with part.open("xb") as copy:
            for chunk in _chunks(path):
                digest.update(chunk)
                copy.write(chunk)
            copy.flush()
            os.fsync(copy.fileno())
        if digest.hexdigest() != sha256:
            raise still_changing(where)
        part.chmod(0o440)
        part.rename(kept)
    finally:
        part.unlink(missing_ok=True)
    flush(kept.parent)
    return kept


def still_changing(where: str) -> FileHeld:
    return FileHeld(
        "held",
        where=where,
        found="a file that changed while it was read",
        expected="a finished file",
        next="nothing: the next run reads it; send under a name ending in .part and rename at the end",
        code="still_changing",
    )


def keep_bytes(content: bytes, archive: Path) -> str:
    """Put bytes made here into the archive; returns the sha256 under which they stand."""
    sha256 = hashlib.sha256(content).hexdigest()
    kept = path_of(archive, sha256)
    if not kept.exists():
        make_folder(kept.parent)
        part = kept.with_name(f".{sha256}.{uuid.uuid4().hex}.part")
        try:
            with part.open("xb") as copy:
                copy.write(content)
                copy.flush()
                os.fsync(copy.fileno())
            part.chmod(0o440)
            part.rename(kept)
        finally:
            part.unlink(missing_ok=True)
        flush(kept.parent)
    return sha256


def sweep(archive: Path, named: set[str]) -> int:
    """Delete every copy that the ledger does not name, and what a killed run left; returns how many."""
    clear_unfinished(archive)
    deleted = 0
    for kept in sorted(archive.glob("[0-9a-f][0-9a-f]/*")):
        if kept.name not in named and kept.is_file():
            kept.unlink()
            deleted += 1
    return deleted


def clear_unfinished(archive: Path) -> None:
    """Remove what a killed run left under temporary names."""
    for part in archive.glob("*/.*.part"):
        part.unlink(missing_ok=True)


def _chunks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            yield chunk
