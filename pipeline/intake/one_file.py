"""One received file up to its rows as text: everything that only this file is asked.

Order: fetch, if it lies in a source → hash → known already? → a look at headers and rows → direct identifiers? → read
→ names among the participants? → archive. Nothing of a file is kept before the identifier checks; archiving checks the
hash again, so what was read is what is kept. What follows is done for several files at once (one_pass.py).
"""

from __future__ import annotations

import stat
import uuid
from collections.abc import Set
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from pipeline.faults import FileHeld
from pipeline.intake import archive, headers, identifiers, readers
from pipeline.intake.arrival import Arrival
from pipeline.intake.ledger import Entry
from pipeline.intake.setting import Setting
from pipeline.intake.sources import OutOfReach
from pipeline.intake.unchanged import Looks
from pipeline.programme import Profile
from pipeline.seal import decoding
from pipeline.store import Store, sql_text


@dataclass(frozen=True)
class FileRead:
    """What became of a file so far. Where it has rows, they stand in `received` and `broken_line` under its place."""

    arrival: Arrival
    as_of: date  # of its run
    first_period: str | None  # whose readings are kept; None: every one
    entry: Entry | None = None  # None: its bytes could not even be read
    encoding: str | None = None
    kept_sha256: str | None = None  # of the kept copy, which may lack lines that must not be kept
    fault: FileHeld | None = None
    is_known: bool = False
    is_waiting: bool = False  # its source went out of reach: the next run reads it

    @property
    def has_rows(self) -> bool:
        return self.kept_sha256 is not None and self.fault is None


def read(
    store: Store, arrival: Arrival, *, setting: Setting, accepted: Set[tuple[str, str]]
) -> FileRead:
    """Fetch, hash, look, read, archive. A fault of the file is kept for its turn.

    `accepted`: (site, sha256) of files that were accepted before the run.
    """
    found = FileRead(arrival, setting.as_of, setting.first_period)
    if arrival.remote is not None and arrival.remote.known_sha256 is not None:
        entry = _entry(setting, arrival, arrival.remote.known_sha256, arrival.remote.file.size)
        return replace(found, entry=entry, is_known=True)
    at_hand = setting.spool / uuid.uuid4().hex if arrival.remote is not None else arrival.path
    try:
        if arrival.remote is not None:
            _fetch(arrival, at_hand, setting.programme.settings.limits.file_bytes)
        try:
            state = _state_of(at_hand, where=arrival.where)
            sha256, size = archive.digest_of(at_hand)
        except OSError as error:  # gone, or closed to us
            return replace(found, fault=_cannot_be_opened(arrival, error))
        entry = _entry(setting, replace(arrival, path=at_hand), sha256, size)
        if arrival.remote is None and state.are_older_than(setting.begun_ns):
            entry = replace(entry, looks=state)
        if (arrival.site, sha256) in accepted:
            return replace(found, entry=entry, is_known=True)
        return setting.read_file(arrival.where, lambda: _read_unchanged(store, setting, entry, state))
    except FileHeld as fault:
        return replace(found, fault=fault)
    except OutOfReach:
        return replace(found, is_waiting=True)
    finally:
        if arrival.remote is not None:
            at_hand.unlink(missing_ok=True)


def _entry(setting: Setting, arrival: Arrival, sha256: str, size: int) -> Entry:
    return Entry(arrival, sha256, size, setting.received_at, setting.run_id)


def _fetch(arrival: Arrival, to: Path, most_bytes: int) -> None:
    if arrival.remote.file.size > most_bytes:
        raise decoding.too_large(arrival.where, most_bytes, "file_bytes")
    arrival.remote.fetch(to, where=arrival.where)


def _read_unchanged(store: Store, setting: Setting, entry: Entry, state: Looks) -> FileRead:
    """The file, read; a fault of it where somebody wrote it, replaced it or took it away meanwhile."""
    path = entry.arrival.path
    try:
        found = read_entry(store, setting, entry)
        has_changed = _state_of(path, where=entry.arrival.where) != state
    except OSError as error:
        if path.exists():
            raise  # not of this file: a full disk, say
        raise _cannot_be_opened(entry.arrival, error) from error
    if has_changed:  # the bytes may be as they were, and others, whose words a fault would tell, were there meanwhile
        return replace(found, fault=archive.still_changing(entry.arrival.where))
    return found


def _state_of(path: Path, *, where: str) -> Looks:
    """What changes whenever a file is written, replaced, or moved away and back.

    Errors   FileHeld for what is no file any more: a link put there since would lead out of the inbox.
    """
    found = path.lstat()
    if not stat.S_ISREG(found.st_mode):
        raise archive.still_changing(where)
    return Looks.of(found)


def read_entry(store: Store, setting: Setting, entry: Entry) -> FileRead:
    """Look, read, archive: of a file whose bytes are known by their hash."""
    found = FileRead(entry.arrival, setting.as_of, setting.first_period, entry)
    try:
        encoding = _read(store, setting, entry, setting.programme.profiles[entry.arrival.site])
        return replace(found, encoding=encoding, kept_sha256=entry.kept_sha256 or entry.sha256)
    except FileHeld as fault:
        return replace(found, fault=fault)


def _read(store: Store, setting: Setting, entry: Entry, profile: Profile) -> str | None:
    """File → `received`, `broken_line`, and the archive; returns the encoding of a text.

    Errors   FileHeld, FileRefused.
    """
    arrival, limits = entry.arrival, setting.programme.settings.limits
    if entry.bytes > limits.file_bytes:
        raise decoding.too_large(arrival.where, limits.file_bytes, "file_bytes")
    reader = readers.reader_for(arrival.path, profile, limits, where=arrival.where)
    look = reader.look(arrival.path)
    identifiers.refuse_direct_identifiers(
        look,
        where=arrival.where,
        as_of=setting.as_of,
        headers={field: column.header for field, column in profile.columns.items()},
    )
    places = headers.columns_of(profile, look.headers, where=arrival.where, most=limits.columns)
    spool = setting.spool / uuid.uuid4().hex
    try:
        reader.read(store, arrival.path, places, len(look.headers), spool)
    finally:
        spool.unlink(missing_ok=True)
    _refuse_named_participants(store, profile, where=arrival.where)
    if entry.kept_sha256 is None:
        archive.keep(arrival.path, setting.archive, entry.sha256, where=arrival.where)
    return look.encoding


def _refuse_named_participants(store: Store, profile: Profile, *, where: str) -> None:
    if not store.value(sql_text("07_unnumbered_participant.sql")):
        return
    worded = [participant for (participant,) in store.rows(sql_text("07_worded_participant.sql"))]
    if worded:
        of = store.value("select count(distinct participant) from received where file = getvariable('place')")
        identifiers.refuse_named_participants(
            worded, of, where=where, header=profile.columns["participant"].header
        )


def _cannot_be_opened(arrival: Arrival, error: OSError) -> FileHeld:
    return FileHeld(
        "held",
        where=arrival.where,
        found=error.strerror or "a file that cannot be opened",
        expected="a file that this user can read",
        next="check its permissions; the next run tries again",
        code="not_readable",
    )
