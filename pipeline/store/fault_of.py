"""What an error of DuckDB means for whoever runs the programme, as a fault that says what to do."""

from __future__ import annotations

import re
from pathlib import Path

import duckdb

from pipeline.faults import StoreFault

_CANNOT_BE_WRITTEN = (
    "no space left|could not write|cannot write|could not truncate|permission denied|read-only|file too large|quota"
)
_DAMAGED = "corrupt|checksum|not a valid duckdb|could not read|database has been invalidated"


def storage_fault(error: duckdb.Error, path: Path | None) -> StoreFault | None:
    """A full disk, a closed folder, a damaged file or too little memory as a fault; None for anything else."""
    text = str(error).partition("\n")[0]
    if isinstance(error, duckdb.OutOfMemoryException):
        return StoreFault(
            "out of memory", where=str(path), found=text, expected="work within the settings' limit",
            next="raise memory under [limits] in the settings, and run again; nothing half-done was kept",
        )  # fmt: skip
    if re.search(_CANNOT_BE_WRITTEN, str(error), re.IGNORECASE):
        return StoreFault(
            "store cannot be written", where=str(path), found=text, expected="room and permission to write there",
            next="make room, and run again: what was committed is kept, nothing is counted twice",
        )  # fmt: skip
    if isinstance(error, duckdb.SerializationException | duckdb.FatalException) or re.search(
        _DAMAGED, str(error), re.IGNORECASE
    ):
        return _unreadable(path, text)
    return None


def why_it_did_not_open(path: Path | None, error: duckdb.Error) -> StoreFault:
    text = str(error)
    if "could not set lock" in text.lower():
        holder = re.search(r"PID (\d+)", text)
        return StoreFault(
            "store in use",
            where=str(path),
            found=f"process {holder.group(1)} has it open" if holder else "it is open",
            expected="one run at a time",
            next="wait for that run to end, then try again",
        )
    return storage_fault(error, path) or _unreadable(path, text.partition("\n")[0])


def _unreadable(path: Path | None, found: str) -> StoreFault:
    return StoreFault(
        "store unreadable",
        where=str(path),
        found=found,
        expected="a DuckDB file as evenbeam wrote it",
        next="evenbeam rebuild PROGRAMME.toml, which reads the kept files of store/archive again and needs neither "
        "this file nor the inbox (keep pseudonym.key, withdrawn and archive as they are). Nothing was published",
    )
