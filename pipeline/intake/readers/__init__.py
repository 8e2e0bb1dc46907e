"""One reader a format. Each has `look(path)`, before anything is kept, and `read(...)`, which fills `received`."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

from pipeline.faults import FileHeld
from pipeline.intake.readers.delimited import DelimitedReader
from pipeline.intake.readers.fhir import FhirReader
from pipeline.intake.readers.ndjson import NdjsonReader
from pipeline.intake.readers.parquet import ParquetReader
from pipeline.intake.readers.sheet import SheetReader
from pipeline.intake.received import Look
from pipeline.programme import Limits, Profile
from pipeline.store import Store

__all__ = ["DelimitedReader", "Reader", "SheetReader", "reader_for"]

_MAGIC = {b"PK\x03\x04": "xlsx", b"PAR1": "parquet"}
_READERS = {
    "csv": DelimitedReader,
    "tsv": DelimitedReader,
    "xlsx": SheetReader,
    "ndjson": NdjsonReader,
    "parquet": ParquetReader,
    "fhir": FhirReader,
}


class Reader(Protocol):
    """One file of one format. `read` takes the kept copy, the place of each field's column, how many columns the
    header has, and a spool file that it may write and the caller removes."""

    def look(self, path: Path) -> Look: ...

    def read(self, store: Store, path: Path, places: dict[str, int], width: int, spool: Path) -> None: ...


def reader_for(path: Path, profile: Profile, limits: Limits, *, where: str) -> Reader:
    """The reader of the profile's format.

    Errors   FileHeld when the file's first bytes are those of another format.
    """
    with path.open("rb") as file:
        first = file.read(4)
    found, expected = (
        _MAGIC.get(first, "text"),
        profile.format if profile.format in _MAGIC.values() else "text",
    )
    if first and found != expected:
        raise FileHeld(
            "held",
            where=where,
            found="text or a format not known"
            if found == "text"
            else f"an {found} file"
            if found == "xlsx"
            else f"a {found} file",
            expected=f"{profile.format}, as the site's profile says",
            next="send the file in that format, or correct `format` in the profile",
            code="other_format",
        )
    return _READERS[profile.format](path, profile, limits, where=where)
