"""ledger.file: what has been received, and what became of each file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from pipeline.faults import FileHeld, FileRefused
from pipeline.intake.inbox import Arrival
from pipeline.programme import Profile
from pipeline.store import Store

ACCEPTED, HELD, REFUSED = "accepted", "held", "refused"


@dataclass(frozen=True)
class Entry:
    """One received file as the ledger knows it from its bytes."""

    arrival: Arrival
    sha256: str
    bytes: int
    received_at: datetime
    run_id: int
    kept_sha256: str | None = None  # of the kept copy that it is read again from; None: it comes from outside


def state_of(store: Store, site: str, sha256: str) -> str | None:
    """accepted, held, refused, or None for a file that has not been seen.

    A file that was held or refused is read again each time: the profile may have been mended since.
    """
    return store.value(
        "select state from ledger.file where site = $site and sha256 = $sha256",
        {"site": site, "sha256": sha256},
    )


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


def profile_of(store: Store, site: str, sha256: str) -> str | None:
    """The sha256 of the profile with which a known file was read."""
    return store.value(
        "select profile_sha256 from ledger.file where site = $site and sha256 = $sha256",
        {"site": site, "sha256": sha256},
    )


def enter(
    store: Store,
    entry: Entry,
    profile: Profile,
    *,
    state: str,
    encoding: str | None = None,
    fault: FileHeld | None = None,
    kept_sha256: str | None = None,
) -> int:
    """Write the file's row, without its row counts, and return its number.

    `kept_sha256` names the kept copy of an accepted file; of others none is relied on. A file that was held before
    keeps its number; what was counted of it then is taken back.
    """
    same = {"site": entry.arrival.site, "sha256": entry.sha256}
    file_id = store.value("select file_id from ledger.file where site = $site and sha256 = $sha256", same)
    values = {
        "run_id": entry.run_id,
        "name": entry.arrival.name,
        "bytes": entry.bytes,
        "received_at": entry.received_at,
        "state": state,
        "format": profile.format,
        "encoding": encoding,
        "profile_sha256": profile.sha256,
        "reason_code": fault.code if fault else None,
        "reason": str(fault) if fault else None,
        "kept_sha256": kept_sha256,
    }
    if file_id is None:
        file_id = store.value("select coalesce(max(file_id), 0) + 1 from ledger.file")
        store.execute_file("16_file_entered.sql", file_id=file_id, **same, **values)
    else:
        store.execute_file("17_file_read_again.sql", file_id=file_id, **values)
    return file_id


def state_for(fault: FileHeld) -> str:
    return REFUSED if isinstance(fault, FileRefused) else HELD


def where_from(store: Store) -> dict[tuple[str, str], tuple[str, str]]:
    """(source's url, path) → (fingerprint, sha256) of every accepted file that was fetched from a source."""
    return {
        (url, path): (fingerprint, sha256)
        for url, path, fingerprint, sha256 in store.rows(
            "select fetched.url, fetched.path, fetched.fingerprint, fetched.sha256 from ledger.fetched as fetched "
            "join ledger.file as file on file.site = fetched.site and file.sha256 = fetched.sha256 "
            "where file.state = $state",
            {"state": ACCEPTED},
        )
    }


def remember_where_from(store: Store, entry: Entry) -> None:
    """That these bytes lie in a source, as its server shows them now; nothing for a file of the inbox."""
    remote = entry.arrival.remote
    if remote is not None and remote.known_sha256 is None:
        store.execute_file(
            "18_fetched.sql",
            url=remote.url,
            path=remote.file.path,
            site=entry.arrival.site,
            fingerprint=remote.file.fingerprint,
            sha256=entry.sha256,
        )
