"""The key behind the pseudonyms, and the pseudonym itself: HMAC-SHA-256 (RFC 2104, RFC 4231).

Rows are hashed in SQL (macro `pseudonym`), which needs only the key's two pads; `pseudonym_of` is the same in
Python for a single participant. The key never leaves its file, no log and no message shows it.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import stat
from pathlib import Path

from pipeline.faults import StoreFault
from pipeline.intake.amounts import amount

KEY_BYTES = 32
BLOCK_BYTES = 64  # of SHA-256
HEX_DIGITS = 32
BLANKS = " \t\n\r\u00a0\u202f\ufeff"  # the same as in the macro `trimmed`
SEPARATOR = "\x1f"  # between the scope and the number, so that no scope can run into a number


def read_key(path: Path, *, accepted_files: int = 0) -> bytes:
    """The key at `path`; made where no file has been accepted with another one yet.

    Errors   StoreFault when others may read the file, when it is no key, and when it is gone although files of the
             ledger were accepted with it: a new key would make a new person of everybody.
    """
    try:
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
    except FileNotFoundError as error:
        if accepted_files:
            raise _lost(path, accepted_files) from error
        return _make_key(path)
    except OSError as error:
        raise StoreFault(
            "pseudonym key unreadable",
            where=str(path),
            found=error.strerror or "no access",
            expected="a file that this user can read",
            next="restore the file from its backup",
        ) from error
    with os.fdopen(descriptor, "rb") as file:
        mode = stat.S_IMODE(os.fstat(file.fileno()).st_mode)
        if mode & 0o077:
            raise StoreFault(
                "pseudonym key is open to others",
                where=str(path),
                found=f"mode {mode:03o}",
                expected="mode 600: whoever has the key can find a person from a number",
                next=f"chmod 600 {path}, and ask who may have read it",
            )
        text = file.read(1024).strip()
    try:
        key = bytes.fromhex(text.decode("ascii"))
    except (UnicodeDecodeError, ValueError):
        key = b""
    if len(key) != KEY_BYTES:
        raise StoreFault(
            "not a pseudonym key",
            where=str(path),
            found=amount(len(text), "character"),
            expected=f"{2 * KEY_BYTES} hexadecimal digits",
            next="restore the file from its backup: with another key every person would be a new one",
        )
    return key


def _lost(path: Path, accepted_files: int) -> StoreFault:
    were = "1 file was" if accepted_files == 1 else f"{accepted_files} files were"
    return StoreFault(
        "pseudonym key lost",
        where=str(path),
        found=f"no such file, although {were} accepted with it",
        expected="that key: with another one everybody in the store would become a new person",
        next="put the key back from a backup. Where there is none, start a new store: move store/evenbeam.duckdb "
        "aside and run with all files in the inbox",
    )


def _make_key(path: Path) -> bytes:
    path.parent.mkdir(parents=True, exist_ok=True)
    key = secrets.token_bytes(KEY_BYTES)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(key.hex().encode() + b"\n")
        file.flush()
        os.fsync(file.fileno())
    temporary.rename(path)
    return key


def pads_of(key: bytes) -> tuple[bytes, bytes]:
    """The inner and the outer pad of RFC 2104: the key, filled up to a block, XOR 0x36 and 0x5c."""
    if len(key) > BLOCK_BYTES:
        key = hashlib.sha256(key).digest()
    block = key.ljust(BLOCK_BYTES, b"\0")
    return bytes(byte ^ 0x36 for byte in block), bytes(byte ^ 0x5C for byte in block)


def scope_prefix(site: str, scope: str | None) -> str:
    """The site's id where its numbers are its own, else nothing: one person at two sites is then one person."""
    return site if scope == "site" else ""


def pseudonym_of(key: bytes, scope: str, received: str) -> str:
    """The pseudonym of one participant's number as received."""
    message = f"{scope}{SEPARATOR}{received.strip(BLANKS)}"
    return hmac.digest(key, message.encode(), "sha256").hex()[:HEX_DIGITS]
