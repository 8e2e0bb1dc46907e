"""Who withdrew, in a form that only the store's key and the person's number together can ask: store/withdrawn.

A tombstone is HMAC-SHA-256 of a pseudonym, itself an HMAC of the number, both under the store's key. It keeps a file
that is sent again, a store begun anew from the inbox, or a database put back from a backup, from bringing the person
back. It records nobody: no reading, site, day or order stands with it, it leads from no number to a person, and
without the key nobody can even try numbers against it. Whoever has the key and a number can ask whether that number
withdrew; that much is needed, or the wish to be forgotten could not be kept.

The file lies beside the key, outside the database, so that both outlive it. Lines are sorted: their order tells
nothing of when somebody withdrew.
"""

from __future__ import annotations

import hmac
import re
import stat
from collections.abc import Iterable
from pathlib import Path

import polars as pl

from pipeline.durable import write_whole
from pipeline.faults import StoreFault

NAME = "withdrawn"
_TOMBSTONE = re.compile(r"[0-9a-f]{64}")


def tombstone_of(key: bytes, pseudonym: str) -> str:
    """The tombstone of one pseudonym; the macro `tombstone_of` is the same in SQL."""
    return hmac.digest(key, f"withdrawn\x1f{pseudonym}".encode(), "sha256").hex()


def as_table(tombstones: Iterable[str]) -> pl.DataFrame:
    """The table `tombstone` that the statements on leaving rows read. Shape   one column of its name, sorted."""
    return pl.DataFrame({"tombstone": sorted(tombstones)}, schema={"tombstone": pl.String})


def read(store_folder: Path, *, withdrawals: int = 0) -> frozenset[str]:
    """Every tombstone; none where nobody has withdrawn. `withdrawals`: how many times somebody did, by the ledger.

    Errors   StoreFault when the file cannot be read, is damaged, or is gone though somebody withdrew: without it
             people could come back.
    """
    path = store_folder / NAME
    try:
        lines = path.read_text(encoding="ascii").split()
    except FileNotFoundError as error:
        if withdrawals:
            raise _lost(path, withdrawals) from error
        return frozenset()
    except (OSError, UnicodeDecodeError) as error:
        raise _unreadable(path, getattr(error, "strerror", None) or "bytes that are no text") from error
    if stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise StoreFault(
            "list of withdrawals is open to others",
            where=str(path),
            found=f"mode {stat.S_IMODE(path.stat().st_mode):03o}",
            expected="mode 600",
            next=f"chmod 600 {path}",
        )
    wrong = [line for line in lines if not _TOMBSTONE.fullmatch(line)]
    if wrong:
        raise _unreadable(path, f"{len(wrong)} of {len(lines)} lines that are no tombstone")
    return frozenset(lines)


def add(store_folder: Path, tombstones: Iterable[str]) -> None:
    """Keep further tombstones, on disk before this returns. Twice is the same as once."""
    lines = sorted(read(store_folder) | set(tombstones))
    write_whole(store_folder / NAME, "".join(f"{line}\n" for line in lines).encode("ascii"), mode=0o600)


def _lost(path: Path, withdrawals: int) -> StoreFault:
    return StoreFault(
        "list of withdrawals lost",
        where=str(path),
        found=f"no such file, although people withdrew ({withdrawals} removals)",
        expected="that list: without it an old file that is sent again brings them back",
        next="put it back from a backup. Where there is none, make it anew, empty, with mode 600, and withdraw those "
        "people again: evenbeam withdraw PROGRAMME.toml --in-advance. Nothing was changed",
    )


def _unreadable(path: Path, found: str) -> StoreFault:
    return StoreFault(
        "list of withdrawals unreadable",
        where=str(path),
        found=found,
        expected="one line of 64 hexadecimal digits for each person who withdrew",
        next="restore the file from its backup: without it people who withdrew could come back",
    )
