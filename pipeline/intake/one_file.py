"""One received file up to its rows as text: everything that only this file is asked.

Order: fetch, if it lies in a source → hash → known already? → a look at headers and rows → direct identifiers? → read
→ names among the participants? → archive. Nothing of a file is kept before the identifier checks; archiving checks the
hash again, so what was read is what is kept. What follows is done for several files at once, and so is reading where
files are written alike (one_pass.py): `begin` goes up to there, and `finish` from there on.
"""

from __future__ import annotations

import stat
import uuid
from collections.abc import Callable, Set
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from pipeline.faults import FileHeld
from pipeline.intake import archive, headers, identifiers, readers
from pipeline.intake.arrival import Arrival
from pipeline.intake.ledger import Entry
from pipeline.intake.readers.delimited_fast import PlainLines
from pipeline.intake.setting import Setting
from pipeline.intake.sources import OutOfReach
from pipeline.intake.unchanged import Looks
from pipeline.programme import Profile
from pipeline.seal import decoding
from pipeline.store import Store, sql_text


@dataclass(frozen=True)
class UnderWay:
    """What is known of a file that was begun, and what its reading takes."""

    reader: readers.Reader
    places: dict[str, int]  # field → number of its column
    width: int  # columns of the header
    plain: PlainLines | None = None  # its rows do not stand in `received` yet: the fast way may read them
    seen: Looks | None = None  # how it looked before it was hashed; None: nobody but us writes to it


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
    under_way: UnderWay | None = None  # until it is finished

    @property
    def has_rows(self) -> bool:
        return self.kept_sha256 is not None and self.fault is None


def begin(
    store: Store, arrival: Arrival, *, setting: Setting, accepted: Set[tuple[str, str]]
) -> FileRead:
    """Fetch, hash, look, and read what is not left to the fast way. A fault of the file is kept for its turn.

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
        found = _begin_at_hand(store, setting, found, at_hand, accepted)
    except FileHeld as fault:
        found = replace(found, fault=fault)
    except OutOfReach:
        found = replace(found, is_waiting=True)
    finally:
        if found.under_way is None:
            _let_go(arrival, at_hand)
    return found


def _begin_at_hand(
    store: Store, setting: Setting, found: FileRead, path: Path, accepted: Set[tuple[str, str]]
) -> FileRead:
    arrival = found.arrival
    try:
        seen = _state_of(path, where=arrival.where)
        sha256, size = archive.digest_of(path)
    except OSError as error:  # gone, or closed to us
        return replace(found, fault=_cannot_be_opened(arrival, error))
    entry = _entry(setting, replace(arrival, path=path), sha256, size)
    if arrival.remote is None and seen.are_older_than(setting.begun_ns):
        entry = replace(entry, looks=seen)
    if (arrival.site, sha256) in accepted:
        return replace(found, entry=entry, is_known=True)
    return setting.read_file(
        arrival.where, lambda: _while_unchanged(entry, seen, lambda: begin_entry(store, setting, entry, seen))
    )


def begin_entry(store: Store, setting: Setting, entry: Entry, seen: Looks | None = None) -> FileRead:
    """Look, and read what is not left to the fast way: of a file whose bytes are known by their hash."""
    found = FileRead(entry.arrival, setting.as_of, setting.first_period, entry)
    try:
        return _begin(store, setting, found, seen)
    except FileHeld as fault:
        return replace(found, fault=fault)


def _begin(store: Store, setting: Setting, found: FileRead, seen: Looks | None) -> FileRead:
    """Errors   FileHeld, FileRefused."""
    entry, limits = found.entry, setting.programme.settings.limits
    arrival, profile = entry.arrival, setting.programme.profiles[entry.arrival.site]
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
    width = len(look.headers)
    plain = reader.plain_lines(arrival.path, places, width) if isinstance(reader, readers.DelimitedReader) else None
    under_way = UnderWay(reader, places, width, plain, seen)
    if plain is None:
        _read(store, setting, arrival.path, under_way)
    return replace(found, encoding=look.encoding, under_way=under_way)


def _read(store: Store, setting: Setting, path: Path, file: UnderWay) -> None:
    """The file by itself → `received` and `broken_line`.  Errors   FileHeld."""
    spool = setting.spool / uuid.uuid4().hex
    try:
        file.reader.read(store, path, file.places, file.width, spool)
    finally:
        spool.unlink(missing_ok=True)


def finish(store: Store, setting: Setting, found: FileRead, *, is_read: bool, has_words: bool) -> FileRead:
    """Read what was not read yet, look for names among the participants, archive.

    `is_read`: its rows stand in `received`; `has_words`: not all that stands there as a participant ends in a digit.
    """
    try:
        return _while_unchanged(
            found.entry, found.under_way.seen, lambda: _finish(store, setting, found, is_read, has_words)
        )
    except FileHeld as fault:  # gone, or no file any more: nobody knows what was there
        return FileRead(found.arrival, found.as_of, found.first_period, fault=fault)
    finally:
        _let_go(found.arrival, found.arrival.path)


def _finish(store: Store, setting: Setting, found: FileRead, is_read: bool, has_words: bool) -> FileRead:
    entry, path = found.entry, found.arrival.path
    done = replace(found, under_way=None)
    try:
        if not is_read:
            _read(store, setting, path, found.under_way)
        if has_words or not is_read:
            _refuse_named_participants(
                store, setting.programme.profiles[found.arrival.site], where=found.arrival.where
            )
        if entry.kept_sha256 is None:
            archive.keep(path, setting.archive, entry.sha256, where=found.arrival.where)
    except FileHeld as fault:
        return replace(done, fault=fault)
    return replace(done, kept_sha256=entry.kept_sha256 or entry.sha256)


def abandon(found: FileRead) -> None:
    """Let go of a file that is not read now after all: another pass begins it anew."""
    if found.under_way is not None:
        _let_go(found.arrival, found.arrival.path)


def _let_go(arrival: Arrival, path: Path) -> None:
    """What was fetched is ours to delete; what lies in the inbox is not."""
    if arrival.remote is not None:
        path.unlink(missing_ok=True)


def _entry(setting: Setting, arrival: Arrival, sha256: str, size: int) -> Entry:
    return Entry(arrival, sha256, size, setting.received_at, setting.run_id)


def _fetch(arrival: Arrival, to: Path, most_bytes: int) -> None:
    if arrival.remote.file.size > most_bytes:
        raise decoding.too_large(arrival.where, most_bytes, "file_bytes")
    arrival.remote.fetch(to, where=arrival.where)


def _while_unchanged(entry: Entry, seen: Looks | None, do: Callable[[], FileRead]) -> FileRead:
    """What `do` makes of the file; a fault of it where somebody wrote it, replaced it or took it away meanwhile."""
    path = entry.arrival.path
    try:
        found = do()
        has_changed = seen is not None and _state_of(path, where=entry.arrival.where) != seen
    except OSError as error:
        if path.exists():
            raise  # not of this file: a full disk, say
        raise _cannot_be_opened(entry.arrival, error) from error
    if has_changed:  # the bytes may be as they were, and others, whose words a fault would tell, were there meanwhile
        return replace(found, fault=archive.still_changing(entry.arrival.where), under_way=None)
    return found


def _state_of(path: Path, *, where: str) -> Looks:
    """What changes whenever a file is written, replaced, or moved away and back.

    Errors   FileHeld for what is no file any more: a link put there since would lead out of the inbox.
    """
    found = path.lstat()
    if not stat.S_ISREG(found.st_mode):
        raise archive.still_changing(where)
    return Looks.of(found)


def _refuse_named_participants(store: Store, profile: Profile, *, where: str) -> None:
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
