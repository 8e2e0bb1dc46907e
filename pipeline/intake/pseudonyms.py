"""The key behind the store's pseudonyms, and its pads for SQL: HMAC-SHA-256 (RFC 2104, RFC 4231).

Rows are hashed in SQL (macro `pseudonym`), which needs only the key's two pads; `seal.pseudonym.pseudonym_of` is the
same in Python for a single participant. The key never leaves its file, no log and no message shows it. What a site
sealed is hashed once more here, with this key, which no site has.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from pipeline.faults import StoreFault
from pipeline.seal.key_file import clear_unfinished, make_key_file, read_key_file

BLOCK_BYTES = 64  # of SHA-256


def read_key(path: Path, *, accepted_files: int = 0) -> bytes:
    """The key at `path`; made where no file has been accepted with another one yet.

    Errors   StoreFault when others may read the file, when it is no key, and when it is gone although files of the
             ledger were accepted with it: a new key would make a new person of everybody.
    """
    clear_unfinished(path)
    try:
        return read_key_file(path, StoreFault, purpose="pseudonym key")
    except FileNotFoundError as error:
        if accepted_files:
            raise _lost(path, accepted_files) from error
        return make_key_file(path)


def _lost(path: Path, accepted_files: int) -> StoreFault:
    were = "1 file was" if accepted_files == 1 else f"{accepted_files} files were"
    return StoreFault(
        "pseudonym key lost",
        where=str(path),
        found=f"no such file, although {were} accepted with it",
        expected="that key: with another one everybody in the store would become a new person",
        next="put the key back from a backup. Where there is none, start a new store: move store/ aside and run with "
        "all files in the inbox. store/withdrawn means nothing without its key: people who withdrew must be withdrawn "
        "again, before or right after that run",
    )


def pads_of(key: bytes) -> tuple[bytes, bytes]:
    """The inner and the outer pad of RFC 2104: the key, filled up to a block, XOR 0x36 and 0x5c."""
    if len(key) > BLOCK_BYTES:
        key = hashlib.sha256(key).digest()
    block = key.ljust(BLOCK_BYTES, b"\0")
    return bytes(byte ^ 0x36 for byte in block), bytes(byte ^ 0x5C for byte in block)


def scope_prefix(site: str, scope: str | None) -> str:
    """The site's id where its numbers are its own, else nothing: one person at two sites is then one person."""
    return site if scope == "site" else ""
