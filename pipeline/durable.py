"""Files that are whole and on the disk before anything relies on them: written beside, flushed, renamed, flushed."""

from __future__ import annotations

import glob
import os
import secrets
from pathlib import Path


def flush(path: Path) -> None:
    """A file's content, or the names in a folder, onto the disk: a rename is durable once its folder is flushed."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def write_whole(path: Path, content: bytes, *, mode: int) -> None:
    """Put `content` under `path`, in place of what was there, all at once; on disk before this returns.

    A process that is killed leaves the old file, and perhaps a hidden one that the next call for `path` clears away.
    """
    for left in path.parent.glob(f".{glob.escape(path.name)}.*.part"):
        left.unlink(missing_ok=True)
    part = path.with_name(f".{path.name}.{secrets.token_hex(8)}.part")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    flush(path.parent)


def make_folder(path: Path) -> None:
    """Make a folder, and those above it, whose names are on the disk before this returns."""
    missing = [folder for folder in (path, *path.parents) if not folder.exists()]
    path.mkdir(parents=True, exist_ok=True)
    for folder in missing:
        flush(folder.parent)
