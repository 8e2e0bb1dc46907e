"""What files a folder holds, and what is in them: a file once read is read again only where it looks changed.

A file looks changed where its size, its inode, or one of its two moments (last written, last changed in any way; in
nanoseconds) is another than when it was read. Every way of writing to a file sets the second moment, and no call can
set it back: a byte that somebody changed, even with the moment of writing set back, is found, and so is a file that
was replaced. What is not found without reading: a disk that returns other bytes than were written to it, writing to
the disk past its file system, and a change under a clock that was set back to the very nanosecond.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Mapping
from dataclasses import astuple, dataclass
from pathlib import Path


@dataclass(frozen=True)
class Content:
    """A file as it was when it was read."""

    bytes: int
    sha256: str
    inode: int
    written_ns: int
    changed_ns: int

    def looks_like(self, now: os.stat_result) -> bool:
        told = (now.st_size, now.st_ino, now.st_mtime_ns, now.st_ctime_ns)
        return told == (self.bytes, self.inode, self.written_ns, self.changed_ns)

    def as_json(self) -> list[int | str]:
        return list(astuple(self))


Contents = Mapping[str, Content]  # path in the folder, with /, in the order of paths


def content_of(path: Path) -> Content:
    """Read a file, in pieces."""
    with path.open("rb") as file:
        seen = os.fstat(file.fileno())  # before reading: what changes meanwhile looks changed later
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return Content(seen.st_size, digest, seen.st_ino, seen.st_mtime_ns, seen.st_ctime_ns)


def written(path: Path, pieces: Iterable[bytes]) -> Content:
    """Write a new file, and tell what is in it without reading it again."""
    digest = hashlib.sha256()
    with path.open("xb") as file:
        for piece in pieces:
            file.write(piece)
            digest.update(piece)
        file.flush()
        seen = os.fstat(file.fileno())
    return Content(seen.st_size, digest.hexdigest(), seen.st_ino, seen.st_mtime_ns, seen.st_ctime_ns)


def contents_of(folder: Path, known: Contents | None = None) -> dict[str, Content]:
    """Every file of a folder. `known`: what was read of it before; of that, what does not look changed is not read."""
    found = {}
    for path in sorted(folder.rglob("*"), key=lambda path: path.relative_to(folder).as_posix()):
        if path.is_file():
            name = path.relative_to(folder).as_posix()
            before = known.get(name) if known else None
            found[name] = before if before and before.looks_like(path.stat()) else content_of(path)
    return found


def digest_of(contents: Contents) -> str:
    """SHA-256 over the name and content of every file, in the order of their names."""
    digest = hashlib.sha256()
    for name, content in sorted(contents.items()):
        digest.update(f"{name}\0{content.sha256}\n".encode())
    return digest.hexdigest()
