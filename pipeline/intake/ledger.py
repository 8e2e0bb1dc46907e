"""ledger.file: what has been received, and what became of each file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import count

import polars as pl

from pipeline.faults import FileHeld, FileRefused
from pipeline.intake.arrival import Arrival
from pipeline.intake.sources.remote_file import Fetched
from pipeline.intake.unchanged import Looks, remember
from pipeline.programme import Profile
from pipeline.store import Store, sql_text

ACCEPTED, HELD, REFUSED = "accepted", "held", "refused"

_ENTERING = {
    "file_id": pl.Int32, "is_new": pl.Boolean, "run_id": pl.Int32, "site": pl.String, "name": pl.String,
    "sha256": pl.String, "bytes": pl.Int64, "received_at": pl.Datetime, "state": pl.String, "format": pl.String,
    "encoding": pl.String, "profile_sha256": pl.String, "reason_code": pl.String, "reason": pl.String,
    "kept_sha256": pl.String, "sheet": pl.String,
}  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """One received file as the ledger knows it from its bytes."""

    arrival: Arrival
    sha256: str
    bytes: int
    received_at: datetime
    run_id: int
    kept_sha256: str | None = None  # of the kept copy that it is read again from; None: it comes from outside
    looks: Looks | None = None  # before it was read, of a file of the inbox; None where they may tell nothing


def states(store: Store) -> dict[tuple[str, str], str]:
    """(site, sha256) → accepted, held or refused, of every file that has been seen."""
    return {
        (site, sha256): state for site, sha256, state in store.rows("select site, sha256, state from ledger.file")
    }


def accepted(store: Store) -> frozenset[tuple[str, str]]:
    """(site, sha256) of every accepted file.

    A file that was held or refused is read again each time: the profile may have been mended since.
    """
    return frozenset(key for key, state in states(store).items() if state == ACCEPTED)


def accepted_files(store: Store) -> int:
    """How many files have been accepted, ever."""
    return store.value("select count(*) from ledger.file where state = $state", {"state": ACCEPTED})


def withdrawals(store: Store) -> int:
    """How many times somebody's rows were removed because they withdrew."""
    return store.value("select count(*) from ledger.removal where cause = 'withdrawal'")


def kept_copies(store: Store) -> set[str]:
    """The sha256 of every kept copy that the ledger names."""
    return {
        sha256
        for (sha256,) in store.rows("select kept_sha256 from ledger.file where kept_sha256 is not null")
    }


@dataclass(frozen=True)
class Known:
    """A file that the ledger has a row of."""

    file_id: int
    state: str
    profile_sha256: str | None  # of the profile with which it was read
    reason: str | None  # why it is held or refused
    rows_held: int


def known_files(store: Store, entries: Iterable[Entry]) -> dict[tuple[str, str], Known]:
    """(site, sha256) → what is known of it, of those that are."""
    rows = [(entry.arrival.site, entry.sha256) for entry in entries]
    with store.lent("asked", pl.DataFrame(rows, schema=["site", "sha256"], orient="row")):
        found = store.rows(
            "select site, sha256, file_id, state, profile_sha256, reason, rows_held "
            "from ledger.file semi join asked using (site, sha256)"
        )
    return {(site, sha256): Known(*rest) for site, sha256, *rest in found}


def accepted_sizes(store: Store) -> set[tuple[str, int]]:
    """(site, bytes) of every accepted file."""
    return set(store.rows("select distinct site, bytes from ledger.file where state = $state", {"state": ACCEPTED}))


@dataclass(frozen=True)
class Entering:
    """One file's row of the ledger, without its row counts."""

    entry: Entry
    profile: Profile
    file_id: int | None  # of a file that was held or refused before, and keeps its number
    encoding: str | None = None
    kept_sha256: str | None = None  # of the kept copy of an accepted file; of others none is relied on
    fault: FileHeld | None = None  # None: it is accepted

    @property
    def state(self) -> str:
        if self.fault is None:
            return ACCEPTED
        return REFUSED if isinstance(self.fault, FileRefused) else HELD


def enter(store: Store, entering: Sequence[Entering]) -> list[int]:
    """Write the rows of files that are not accepted yet, and return their numbers: new ones in the order given.

    Of a file that was held or refused before, what was counted then is taken back.
    """
    if not entering:
        return []
    numbers = count(store.value("select coalesce(max(file_id), 0) + 1 from ledger.file"))
    file_ids = [next(numbers) if one.file_id is None else one.file_id for one in entering]
    rows = [
        (
            file_id, one.file_id is None, one.entry.run_id, one.entry.arrival.site, one.entry.arrival.name,
            one.entry.sha256, one.entry.bytes, one.entry.received_at, one.state, one.profile.format, one.encoding,
            one.profile.sha256, one.fault.code if one.fault else None, str(one.fault) if one.fault else None,
            one.kept_sha256, one.profile.sheet_read,
        )
        for file_id, one in zip(file_ids, entering, strict=True)
    ]  # fmt: skip
    with store.lent("entering", pl.DataFrame(rows, schema=_ENTERING, orient="row")):
        store.execute_file("16_file_entered.sql")
        if any(one.file_id is not None for one in entering):
            store.execute_file("17_file_read_again.sql")
    return file_ids


def meet_again(store: Store, met: Sequence[tuple[int, Entry]]) -> None:
    """That a run met files (number, entry) that were held or refused before, and knows without them that they are."""
    if met:
        rows = [(file_id, entry.run_id, entry.received_at) for file_id, entry in met]
        schema = {name: _ENTERING[name] for name in ("file_id", "run_id", "received_at")}
        with store.lent("met_again", pl.DataFrame(rows, schema=schema, orient="row")):
            store.execute_file("17_file_met_again.sql")


def fetched_before(store: Store) -> dict[tuple[str, str], Fetched]:
    """(source's url, path) → what is known of it, where it need not be fetched again for being what it was."""
    return {(url, path): Fetched(*rest) for url, path, *rest in store.rows(sql_text("18_fetched_before.sql"))}


def remember_where_from(store: Store, entries: Iterable[tuple[Entry, bool]]) -> None:
    """Where the bytes of files lie: in a source, as its server shows them now; in the inbox, as they look.

    Each with whether it was accepted: a file of the inbox that was not is read again in every run.
    """
    in_inbox = []
    for entry, is_accepted in entries:
        remote = entry.arrival.remote
        if remote is None and is_accepted and entry.looks is not None:
            in_inbox.append((entry.arrival, entry.looks, entry.sha256))
        elif remote is not None and remote.known_sha256 is None:
            store.execute_file(
                "18_fetched.sql",
                url=remote.url,
                path=remote.file.path,
                site=entry.arrival.site,
                fingerprint=remote.file.fingerprint if is_accepted else remote.fingerprint_when_held,
                sha256=entry.sha256,
            )
    remember(store, in_inbox)
