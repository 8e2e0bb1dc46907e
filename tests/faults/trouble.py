"""Disks that are full or read-only, as far as this machine can make them."""

from __future__ import annotations

import ctypes
import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from nights import Ended, forked

_CAPGET, _CAPSET = {"x86_64": (125, 126), "aarch64": (90, 91)}.get(os.uname().machine, (None, None))
_VERSION_3 = 0x20080522  # of linux/capability.h
_OVERRIDES = 1 << 1 | 1 << 2 | 1 << 3  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH, CAP_FOWNER


def with_file_limit(n_bytes: int, work: Callable[[], Any]) -> Ended:
    """In a child: no file may grow beyond so many bytes, as on a full disk; the system says "File too large"."""

    def limited() -> Any:
        resource.setrlimit(resource.RLIMIT_FSIZE, (n_bytes, n_bytes))
        return work()

    return forked(limited)


def as_anybody(work: Callable[[], Any]) -> Ended:
    """In a child that heeds permissions, which the superuser does not: modes then close folders to it."""

    def modest() -> Any:
        if os.geteuid() == 0:
            drop_overrides()
        return work()

    return forked(modest)


def drop_overrides() -> None:
    """Give up, for good, the superuser's right to pass over permissions. Works without any right of its own."""
    if _CAPGET is None:
        raise RuntimeError(f"capabilities of {os.uname().machine} are not known here")
    libc = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(_VERSION_3, 0)
    data = (ctypes.c_uint32 * 6)()
    if libc.syscall(_CAPGET, header, data):
        raise OSError(ctypes.get_errno(), "capget")
    for place in (0, 1):  # effective, permitted
        data[place] &= ~_OVERRIDES & 0xFFFFFFFF
    if libc.syscall(_CAPSET, header, data):
        raise OSError(ctypes.get_errno(), "capset")


def closed(folder: Path) -> dict[Path, int]:
    """Take the right to write from a folder and all in it; what the modes were."""
    modes = {}
    for path in (folder, *folder.rglob("*")):
        if not path.is_symlink():
            modes[path] = path.stat().st_mode & 0o7777
            path.chmod(modes[path] & ~0o222)
    return modes


def reopened(modes: dict[Path, int]) -> None:
    for path, mode in modes.items():
        path.chmod(mode)


def in_small_disk(script: Path, folder: Path, megabytes: int, *arguments: str) -> subprocess.CompletedProcess | None:
    """Run a script with a disk of so many megabytes mounted at `folder`, for it alone; None where none may be."""
    mount = f'mount -t tmpfs -o size={megabytes}m none {folder} && exec "$@"'
    prefix = ["unshare", "--mount"] if os.geteuid() == 0 else ["unshare", "--mount", "--map-root-user"]
    if not shutil.which("unshare"):
        return None
    if subprocess.run([*prefix, "sh", "-c", mount, "sh", "true"], capture_output=True, check=False).returncode:
        return None
    command = [*prefix, "sh", "-c", mount, "sh", sys.executable, str(script), str(folder), *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def fill(folder: Path, leave: int) -> Path:
    """A file that takes all room of a disk but `leave` bytes."""
    filler, free = folder / "filler", shutil.disk_usage(folder).free
    with filler.open("wb") as file:
        left = free - leave
        while left > 0:
            left -= file.write(b"\0" * min(left, 1 << 20))
    return filler
