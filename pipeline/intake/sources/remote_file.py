"""One file of a source as its server names it, and what can go wrong on the way to it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass
from typing import Any, Protocol

from pipeline.faults import Fault

FILE, LINK, OTHER = "file", "link", "other"


@dataclass(frozen=True)
class RemoteFile:
    """What a server tells of one file."""

    parts: tuple[str, ...]  # folders and name, below the source's own folder
    kind: str  # file, link, other
    size: int  # bytes
    changed_at: int  # seconds since 1970, by the server's clock
    tag: str = ""  # of the content, where the server gives one

    @property
    def path(self) -> str:
        return "/".join(self.parts)

    @property
    def fingerprint(self) -> str:
        """The same for as long as the server shows the same file."""
        return f"{self.kind} {self.size} {self.changed_at} {self.tag}"


@dataclass(frozen=True)
class Fetched:
    """What is known of a place in a source from when it was fetched."""

    fingerprint: str  # of the file as the server showed it; where it was not accepted, and what it was judged by
    sha256: str
    held_name: str | None  # of a file that was held or refused, as the ledger names it; None: it was accepted


class OutOfReach(Fault):
    """A source that cannot be read from now. The run goes on without it."""

    def __init__(self, name: str, found: str, next: str = ""):
        super().__init__(
            "source out of reach",
            where=name,
            found=found,
            expected="a [[source]] that can be read",
            next=next or "nothing, if that passes: the next run reads what waits there. Else look at the server",
        )


class Interrupted(Exception):
    """The connection failed; another try may help. Says why in this program's words, without an address."""


class Watched:
    """A stream whose reading fails in the words of its connection."""

    def __init__(self, stream: Any, watched: Callable[[], AbstractContextManager[None]]):
        self._stream, self._watched = stream, watched

    def read(self, size: int) -> bytes:
        with self._watched():
            return self._stream.read(size)

    def close(self) -> None:
        with suppress(Exception):  # it was only read from
            self._stream.close()


class Connection(Protocol):
    """A connection to one server. Each method raises Interrupted where another try may help, OutOfReach where none
    will, and FileNotFoundError or PermissionError of the path that was asked for."""

    is_written_in_place: bool  # a file can be seen while it is still being sent

    def files(self) -> Iterator[RemoteFile]:
        """Everything below the source's folder that is no folder, page by page."""

    def look(self, file: RemoteFile) -> RemoteFile:
        """The same file as the server shows it now."""

    def open(self, file: RemoteFile) -> Watched:
        """Its bytes, from the first; reading raises as the methods do."""

    def close(self) -> None: ...
