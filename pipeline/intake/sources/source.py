"""One source during a run: its connection, tried again with growing waits, and given up for this run when that fails.

A source is only read. Nothing there is moved, renamed or deleted, so nothing can be lost by what happens here, and a
user who may only read is enough.
"""

from __future__ import annotations

import importlib
import os
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import TypeVar

from pipeline.faults import FileHeld
from pipeline.intake.sources.remote_file import Connection, Interrupted, OutOfReach, RemoteFile
from pipeline.programme import Programme, SourceSettings

RETRY_AFTER = (2.0, 10.0, 30.0)  # seconds before the second, third and fourth attempt
MOST_FILES = 100_000  # of one source
_CHUNK = 1 << 20

Result = TypeVar("Result")


class Source:
    """A place to fetch files from. One file at a time is fetched; several threads may ask."""

    def __init__(self, settings: SourceSettings, folder: Path, environment: Mapping[str, str] = os.environ):
        self.settings = settings
        self.out_of_reach: OutOfReach | None = None  # once it is given up for this run
        self._folder, self._environment = folder, environment
        self._lock = threading.Lock()
        self._connection: Connection | None = None

    @property
    def name(self) -> str:
        return self.settings.name

    @property
    def is_written_in_place(self) -> bool:
        """Can a file be seen there while it is still being sent?"""
        return self.settings.url.startswith("sftp:")

    def files(self) -> list[RemoteFile]:
        """Everything there. A listing that breaks off is begun anew.

        Errors   OutOfReach, also for more than MOST_FILES.
        """
        return self._tried(self._listed)

    def fetch(self, file: RemoteFile, to: Path, *, where: str) -> None:
        """Copy a file's bytes to `to`: as many as the listing said, of a file that is still the one that was listed.

        Errors   FileHeld for a file that is gone, closed, or changing; OutOfReach.
        """
        try:
            self._tried(lambda connection: _copy(connection, file, to, where))
        except FileNotFoundError as error:
            raise _not_there(where, "a file that is gone since it was listed", "send it again") from error
        except PermissionError as error:
            raise _not_there(where, "a file that this user may not read", "let the source's user read it") from error

    def close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _listed(self, connection: Connection) -> list[RemoteFile]:
        found = []
        try:
            for file in connection.files():
                if len(found) == MOST_FILES:
                    raise OutOfReach(
                        self.name,
                        f"more than {MOST_FILES} files",
                        "move old files away, or give sites sources of their own",
                    )
                found.append(file)
        except FileNotFoundError as error:
            raise OutOfReach(self.name, "no such folder or bucket", "correct its url") from error
        except PermissionError as error:
            raise OutOfReach(self.name, "a folder that its user may not list", "let that user list it") from error
        return found

    def _tried(self, does: Callable[[Connection], Result]) -> Result:
        """Do it over the connection; where that breaks, over a new one, after each of RETRY_AFTER."""
        with self._lock:
            if self.out_of_reach:
                raise self.out_of_reach
            waits = iter(RETRY_AFTER)
            while True:
                try:
                    if self._connection is None:
                        self._connection = self._connected()
                    return does(self._connection)
                except OutOfReach as fault:
                    self.out_of_reach = fault
                    self.close()
                    raise
                except Interrupted as error:
                    self.close()
                    wait = next(waits, None)
                    if wait is None:
                        tries = f"{len(RETRY_AFTER) + 1} attempts"
                        self.out_of_reach = OutOfReach(self.name, f"{error}, in {tries}")
                        raise self.out_of_reach from error
                    time.sleep(wait)

    def _connected(self) -> Connection:
        secrets = {}
        for key in ("access_key_variable", "secret_key_variable", "password_variable"):
            variable = getattr(self.settings, key)
            if variable is not None:
                secrets[key] = self._environment.get(variable, "")
                if not secrets[key]:
                    raise OutOfReach(self.name, f"no environment variable {variable}", "set it where the run starts")
        if self.settings.url.startswith("s3:"):
            return self._needing("object_store", "s3").ObjectStore(self.settings, secrets)
        return self._needing("file_server", "sftp").FileServer(self.settings, secrets, self._folder)

    def _needing(self, module: str, extra: str) -> ModuleType:
        try:
            return importlib.import_module(f"pipeline.intake.sources.{module}")
        except ImportError as error:
            next_step = f"pip install 'evenbeam[{extra}]'"
            raise OutOfReach(self.name, f"no library for {extra} on this machine", next_step) from error


@contextmanager
def opened(programme: Programme) -> Iterator[list[Source]]:
    """Every source of a programme, closed at the end. Nothing is connected yet."""
    sources = [Source(one, programme.folder) for one in programme.settings.source]
    try:
        yield sources
    finally:
        for source in sources:
            source.close()


def _copy(connection: Connection, file: RemoteFile, to: Path, where: str) -> None:
    _require_the_same(connection, file, where)
    received, stream = 0, connection.open(file)
    try:
        with to.open("wb") as copy:
            while chunk := stream.read(_CHUNK):
                received += len(chunk)
                if received > file.size:
                    raise _still_changing(where)
                copy.write(chunk)
    finally:
        stream.close()
    _require_the_same(connection, file, where)
    if received < file.size:
        raise Interrupted(f"{received} of {file.size} bytes")


def _require_the_same(connection: Connection, file: RemoteFile, where: str) -> None:
    if connection.look(file).fingerprint != file.fingerprint:
        raise _still_changing(where)


def _still_changing(where: str) -> FileHeld:
    return FileHeld(
        "held",
        where=where,
        found="a file that changed while it was fetched",
        expected="a finished file",
        next="nothing: the next run reads it; send under a name ending in .part and rename at the end",
        code="still_changing",
    )


def _not_there(where: str, found: str, next: str) -> FileHeld:
    return FileHeld(
        "held", where=where, found=found, expected="a file that can be fetched", next=next, code="not_readable"
    )


@dataclass(frozen=True)
class Remote:
    """Where an arrival is fetched from."""

    source: Source
    file: RemoteFile
    known_sha256: str | None  # of the bytes that were fetched when the server showed the very same
    judged_by: str  # as judgement.judged_by gives it

    @property
    def url(self) -> str:
        return self.source.settings.url

    @property
    def fingerprint_when_held(self) -> str:
        """The same for as long as the file is the same and would be held or refused again."""
        return f"{self.file.fingerprint} {self.judged_by}"

    def fetch(self, to: Path, *, where: str) -> None:
        self.source.fetch(self.file, to, where=where)
