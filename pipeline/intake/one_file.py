"""One received file, in two halves: what can be done beside other files, and what must wait for its turn.

Order: fetch, if it lies in a source → hash → known already? → a look at headers and rows → direct identifiers? → read
→ names among the participants? → archive → normalise → check ‖ file its rows. Nothing of a file is kept before the
identifier checks; archiving checks the hash again, so what was read is what is kept; the archive comes before the
archive's own list, and that before the ledger, so that a run killed between two of them finds the file in the inbox or
source again and counts it once.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path

import polars as pl

from pipeline.faults import FileHeld, FileRefused
from pipeline.intake import (
    archive,
    filing,
    headers,
    identifiers,
    kept_copy,
    ledger,
    normalising,
    pseudonyms,
    readers,
)
from pipeline.intake.amounts import amount
from pipeline.intake.inbox import Arrival
from pipeline.intake.ledger import Entry
from pipeline.intake.sources import OutOfReach
from pipeline.programme import Profile, Programme
from pipeline.seal import decoding
from pipeline.store import Store, sql_text


@dataclass(frozen=True)
class IntakeSummary:
    """What was received: by a run, or of one file."""

    files_accepted: int = 0
    files_held: int = 0
    files_refused: int = 0
    files_already_received: int = 0
    rows_read: int = 0
    rows_accepted: int = 0
    rows_held: int = 0
    rows_duplicate: int = 0
    rows_superseded: int = 0
    rows_withdrawn: int = 0
    rows_expired: int = 0
    readings_replaced: int = 0  # accepted from earlier files, superseded by the files of this run
    passed_over: int = 0  # folders and files in the inbox that stand where nothing is read
    files_of_earlier_profile: int = 0  # of those already received: read with the profile as it was before
    messages: list[str] = field(default_factory=list)  # one a file held or refused whole, or passed over
    row_messages: list[str] = field(default_factory=list)  # one a file of which some rows were held
    lost_sources: list[str] = field(default_factory=list)  # names of sources out of reach, whose files wait

    def sentence(self) -> str:
        """What came in, in one line whose rows add up."""
        files = [f"{self.files_accepted} accepted"]
        files += [f"{self.files_held} held"] if self.files_held else []
        files += [f"{self.files_refused} refused"] if self.files_refused else []
        files += [f"{self.files_already_received} already received"] if self.files_already_received else []
        left = "".join(
            f" + {n} {word}"
            for n, word in ((self.rows_withdrawn, "withdrawn"), (self.rows_expired, "expired"))
            if n
        )
        replaced = f"; {amount(self.readings_replaced, 'earlier reading')} replaced"
        return (
            f"files: {', '.join(files)}; rows: {self.rows_read} read = {self.rows_accepted} accepted + "
            f"{self.rows_held} held + {self.rows_duplicate} duplicate + {self.rows_superseded} superseded"
            f"{left}{replaced if self.readings_replaced else ''}"
        )

    def __add__(self, other: IntakeSummary) -> IntakeSummary:
        """Counts added, messages one after the other."""
        return IntakeSummary(
            *(mine + theirs for mine, theirs in zip(vars(self).values(), vars(other).values(), strict=True))
        )


ReadFile = Callable[[str, Callable[[], "Prepared"]], "Prepared"]  # (site and name of a new file, its reading)


@dataclass(frozen=True)
class Setting:
    """What all files of a run share."""

    programme: Programme
    as_of: date
    received_at: datetime
    run_id: int
    pads: tuple[bytes, bytes]
    tombstones: frozenset[str] = frozenset()  # of everybody who withdrew
    first_period: str | None = None  # the first period whose readings are kept; None: every one
    read_file: ReadFile = lambda where, read: read()  # a scheduler puts its own watch around it

    @property
    def archive(self) -> Path:
        return self.programme.store / "archive"

    @property
    def spool(self) -> Path:
        return self.programme.store / "spool"


@dataclass(frozen=True)
class Prepared:
    """A file up to the point where the files before it matter. Its rows stand in `checked` of the same connection."""

    arrival: Arrival
    profile: Profile
    entry: Entry | None = None  # None: its bytes could not even be read
    encoding: str | None = None
    kept_sha256: str = ""  # of the kept copy, which may lack lines that must not be kept
    fault: FileHeld | None = None
    is_known: bool = False
    is_waiting: bool = False  # its source went out of reach: the next run reads it


def prepare(
    store: Store, setting: Setting, arrival: Arrival, *, accepted: frozenset[str] | None = None
) -> Prepared:
    """Fetch, hash, look, read, archive, normalise, check. A fault of the file is kept for its turn.

    `accepted` are the sha256 of the site's accepted files where the ledger of `store` does not know them.
    """
    profile = setting.programme.profiles[arrival.site]
    if arrival.remote is not None and arrival.remote.known_sha256 is not None:
        entry = _entry(setting, arrival, arrival.remote.known_sha256, arrival.remote.file.size)
        return Prepared(arrival, profile, entry, is_known=True)
    at_hand = setting.spool / uuid.uuid4().hex if arrival.remote is not None else arrival.path
    try:
        if arrival.remote is not None:
            _fetch(arrival, at_hand, setting.programme.settings.limits.file_bytes)
        try:
            state = _state_of(at_hand)
            sha256, size = archive.digest_of(at_hand)
        except OSError as error:  # gone, or closed to us
            return Prepared(arrival, profile, fault=_cannot_be_opened(arrival, error))
        entry = _entry(setting, replace(arrival, path=at_hand), sha256, size)
        is_known = (
            ledger.state_of(store, arrival.site, sha256) == ledger.ACCEPTED
            if accepted is None
            else sha256 in accepted
        )
        if is_known:
            return Prepared(arrival, profile, entry, is_known=True)
        return setting.read_file(arrival.where, lambda: _prepare_unchanged(store, setting, entry, state))
    except FileHeld as fault:
        return Prepared(arrival, profile, fault=fault)
    except OutOfReach:
        return Prepared(arrival, profile, is_waiting=True)
    finally:
        if arrival.remote is not None:
            at_hand.unlink(missing_ok=True)


def _entry(setting: Setting, arrival: Arrival, sha256: str, size: int) -> Entry:
    return Entry(arrival, sha256, size, setting.received_at, setting.run_id)


def _fetch(arrival: Arrival, to: Path, most_bytes: int) -> None:
    if arrival.remote.file.size > most_bytes:
        raise decoding.too_large(arrival.where, most_bytes, "file_bytes")
    arrival.remote.fetch(to, where=arrival.where)


def _prepare_unchanged(store: Store, setting: Setting, entry: Entry, state: tuple[int, int, int]) -> Prepared:
    """The file, prepared; a fault of it where somebody wrote it, replaced it or took it away meanwhile."""
    path = entry.arrival.path
    try:
        prepared = prepare_entry(store, setting, entry)
        has_changed = _state_of(path) != state
    except OSError as error:
        if path.exists():
            raise  # not of this file: a full disk, say
        raise _cannot_be_opened(entry.arrival, error) from error
    if has_changed and prepared.fault is None:  # the bytes may be as they were, and others have been there meanwhile
        return replace(prepared, fault=archive.still_changing(entry.arrival.where))
    return prepared


def _state_of(path: Path) -> tuple[int, int, int]:
    """What changes whenever a file is written or replaced."""
    found = path.stat()
    return found.st_ino, found.st_size, found.st_mtime_ns


def prepare_entry(store: Store, setting: Setting, entry: Entry) -> Prepared:
    """Look, read, archive, normalise, check: of a file whose bytes are known by their hash."""
    arrival, profile = entry.arrival, setting.programme.profiles[entry.arrival.site]
    try:
        encoding = _read(store, setting, entry, profile)
        kept_sha256 = _without_leaving_lines(store, setting, entry, profile, encoding)
        return Prepared(arrival, profile, entry, encoding=encoding, kept_sha256=kept_sha256)
    except FileHeld as fault:
        return Prepared(arrival, profile, entry, fault=fault)


def finish(
    store: Store, prepared: Prepared, *, before_commit: Callable[[Store, int], None] = lambda store, file_id: None
) -> IntakeSummary:
    """Enter the file in the ledger and file its rows, in one transaction.

    `before_commit(store, file_id)` is called in it, of a file that is accepted.
    """
    entry, fault = prepared.entry, prepared.fault
    if prepared.is_waiting:
        return IntakeSummary()
    if entry is None:
        return IntakeSummary(files_held=1, messages=[str(fault)])
    if prepared.is_known or ledger.state_of(store, entry.arrival.site, entry.sha256) == ledger.ACCEPTED:
        ledger.remember_where_from(store, entry)
        read_with = ledger.profile_of(store, entry.arrival.site, entry.sha256)
        return IntakeSummary(
            files_already_received=1, files_of_earlier_profile=int(read_with != prepared.profile.sha256)
        )
    if fault is None:
        try:
            with store.transaction():
                filed = filing.file_rows(
                    store,
                    entry,
                    prepared.profile,
                    encoding=prepared.encoding,
                    kept_sha256=prepared.kept_sha256,
                )
                if not filed.is_wholly_held:
                    ledger.remember_where_from(store, entry)
                    before_commit(store, filed.file_id)
            return _summary_of(filed, filing.messages_of(store, entry, filed))
        except FileHeld as held:
            fault = held
    with store.transaction():
        ledger.enter(store, entry, prepared.profile, state=ledger.state_for(fault), fault=fault)
    is_refused = isinstance(fault, FileRefused)
    return IntakeSummary(files_held=int(not is_refused), files_refused=int(is_refused), messages=[str(fault)])


def _read(store: Store, setting: Setting, entry: Entry, profile: Profile) -> str | None:
    """File → `checked`; returns the encoding of a text.

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
    normalising.normalise(
        store,
        normalising.parameters_of(
            profile,
            period_kind=setting.programme.settings.period,
            pads=setting.pads,
            participant_scope=pseudonyms.scope_prefix(arrival.site, profile.columns["participant"].scope),
        ),
    )
    store.execute_file("11_reading_checked.sql", as_of=setting.as_of, **normalising.print_steps(profile))
    return look.encoding


def _refuse_named_participants(store: Store, profile: Profile, *, where: str) -> None:
    worded = [participant for (participant,) in store.rows(sql_text("07_worded_participant.sql"))]
    if worded:
        of = store.value("select count(distinct participant) from received")
        identifiers.refuse_named_participants(
            worded, of, where=where, header=profile.columns["participant"].header
        )


def _without_leaving_lines(
    store: Store, setting: Setting, entry: Entry, profile: Profile, encoding: str | None
) -> str:
    """Take rows that must not be kept out of `received`, `checked` and the kept copy; returns that copy's sha256.

    Once somebody has withdrawn, no kept copy has broken lines either: nobody can tell whose they are.
    """
    scope = pseudonyms.scope_prefix(entry.arrival.site, profile.columns["participant"].scope)
    with store.lent(
        "tombstone", pl.DataFrame({"tombstone": sorted(setting.tombstones)}, schema={"tombstone": pl.String})
    ):
        store.execute_file(
            "11_leaving_line.sql",
            inner_pad=setting.pads[0],
            outer_pad=setting.pads[1],
            first_period=setting.first_period,
            participant_scope=scope,
        )
    leaving = {line for (line,) in store.rows("select line from leaving_line")}
    if setting.tombstones:
        leaving |= {line for (line,) in store.rows("select line from broken_line")}
    as_it_stands = entry.kept_sha256 or entry.sha256
    if not leaving:
        return as_it_stands
    kept_sha256 = kept_copy.without_lines(
        setting.archive,
        as_it_stands,
        leaving=leaving,
        every_line=[line for (line,) in store.rows("select line from received")],
        encoding=encoding,
        sheet=profile.sheet,
        holds_resources=profile.format == "fhir",
    )
    store.execute_file("11_without_leaving_lines.sql")
    return kept_sha256


def _summary_of(filed: filing.Filed, messages: list[str]) -> IntakeSummary:
    return IntakeSummary(
        files_accepted=int(not filed.is_wholly_held),
        files_held=int(filed.is_wholly_held),
        rows_read=filed.read,
        rows_accepted=filed.accepted,
        rows_held=filed.held,
        rows_duplicate=filed.duplicate,
        rows_superseded=filed.superseded,
        rows_withdrawn=filed.withdrawn,
        rows_expired=filed.expired,
        readings_replaced=filed.replaced,
        messages=messages if filed.is_wholly_held else [],
        row_messages=[] if filed.is_wholly_held else messages,
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
