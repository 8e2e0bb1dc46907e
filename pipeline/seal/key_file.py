"""A key in a file that only its owner can read: 64 hexadecimal digits, 32 random bytes. No message shows any of it."""

from __future__ import annotations

import glob
import os
import secrets
import stat
from pathlib import Path

from pipeline.faults import Fault

KEY_BYTES = 32
OPEN_TO_OTHERS = 0o077


def read_key_file(path: Path, fault: type[Fault], *, purpose: str) -> bytes:
    """The key at `path`.

    Errors   `fault` when the file cannot be read, when others may read it, or when it is no key; FileNotFoundError
             is the caller's.
    """
    try:
        mode, text = _contents(path)
    except FileNotFoundError:
        raise
    except OSError as error:
        raise fault(
            f"{purpose} unreadable",
            where=str(path),
            found=error.strerror or "no access",
            expected="a file that this user can read, and no link",
            next="restore the file from its backup",
        ) from error
    # Windows keeps rights elsewhere and always shows the same mode: docs/sealing.md says what to set there.
    if mode & OPEN_TO_OTHERS and os.name == "posix":
        raise fault(
            f"{purpose} is open to others",
            where=str(path),
            found=f"mode {mode:03o}",
            expected="mode 600: whoever has the key can find a person from a number",
            next=f"chmod 600 {path}, and ask who may have read it",
        )
    return key_of(text, fault, purpose=purpose, where=str(path))


def _contents(path: Path) -> tuple[int, bytes]:
    """The mode and the text of one and the same file, whatever happens to its name meanwhile."""
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
    try:
        return stat.S_IMODE(os.fstat(descriptor).st_mode), os.read(descriptor, 1024)
    finally:
        os.close(descriptor)


def key_of(text: bytes, fault: type[Fault], *, purpose: str, where: str) -> bytes:
    """Errors   `fault` when the text is not 64 hexadecimal digits."""
    text = text.strip()
    try:
        key = bytes.fromhex(text.decode("ascii"))
    except (UnicodeDecodeError, ValueError):
        key = b""
    if len(key) != KEY_BYTES:
        count = "1 character" if len(text) == 1 else f"{len(text)} characters"
        raise fault(
            f"not a {purpose}",
            where=where,
            found=count,
            expected=f"{2 * KEY_BYTES} hexadecimal digits",
            next="restore it from its backup: with another key every person would be a new one",
        )
    return key


def make_key_file(path: Path) -> bytes:
    """A new key at `path`, readable by this user alone, complete or not there. Its folder is made where it is missing.

    Errors   FileExistsError: an existing file is never replaced.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    clear_unfinished(path)
    key = secrets.token_bytes(KEY_BYTES)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(key.hex().encode() + b"\n")
            file.flush()
            os.fsync(file.fileno())
        name_once(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)
    return key


def name_once(temporary: Path, final: Path) -> None:
    """Give a finished file its final name, in one step, on disk, and never in place of another.

    Errors   FileExistsError.
    """
    try:
        os.link(temporary, final)
    except FileExistsError:
        raise
    except OSError:  # a memory stick or network folder without hard links
        if final.exists():
            raise FileExistsError(str(final)) from None
        temporary.rename(final)
    else:
        temporary.unlink()
    _flush_names(final.parent)


def clear_unfinished(final: Path) -> None:
    """Delete what a process that was cut off left of `final` under its temporary name."""
    for left in final.parent.glob(f".{glob.escape(final.name)}.*.part"):
        if not _is_running(left.name.split(".")[-2]):
            left.unlink(missing_ok=True)


def _is_running(pid: str) -> bool:
    """Whether the process that began a file may still write it; where that cannot be told, it may."""
    if not pid.isdigit() or os.name != "posix":
        return True
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _flush_names(folder: Path) -> None:
    """A name is on disk once its folder is, where the system can flush a folder."""
    if os.name == "posix":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
