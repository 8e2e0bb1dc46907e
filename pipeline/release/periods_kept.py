"""store/protected/: the rows of each period as the programme's view shows them, so that a period whose results are as
they were need not be protected, rounded and put in order again.

It may be deleted at any time. A period's folder holds a file a table, with withheld figures empty as in any
publication, and says what they were made of; one that is cut off or changed is made again. It lies in the store all the
same, with a digest of the results before disclosure control: whoever guesses a withheld count could see whether the
guess is right.
"""

from __future__ import annotations

import hashlib
import io
import json
import shutil
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.disclosure.protect import Tables

FOLDER = "protected"
RECORD = "made_of.json"
_UNFINISHED = ".unfinished"


@dataclass(frozen=True)
class KeptPeriod:
    """The tables of a period, packed: unpacked they take ten times the memory, so that is done as they are needed.

    made_of: a digest of all that decides what they show.
    """

    period: str
    made_of: str
    packed: Mapping[str, bytes]  # table → Parquet, texts as categories where they came so

    @classmethod
    def of(cls, period: str, made_of: str, tables: Tables) -> KeptPeriod:
        return cls(period, made_of, {name: _packed(rows) for name, rows in tables.items()})

    def rows(self, table: str, columns: list[str] | None = None) -> pl.DataFrame:
        """A table's rows, or some of its columns."""
        return pl.read_parquet(io.BytesIO(self.packed[table]), columns=columns)


class PeriodsKept:
    """A folder a period; what cannot be written costs time later."""

    def __init__(self, store: Path):
        self.folder = store / FOLDER

    def read(self, period: str, made_of: str) -> KeptPeriod | None:
        """The period's tables, where they were made of the same; None where not, or where a file is not as written."""
        try:
            record = json.loads((self.folder / period / RECORD).read_text(encoding="utf-8"))
            if record["made_of"] != made_of:
                return None
            packed = {}
            for name, digest in record["tables"].items():
                packed[name] = (self.folder / period / f"{name}.parquet").read_bytes()
                if hashlib.sha256(packed[name]).hexdigest() != digest:
                    return None
            return KeptPeriod(period, made_of, packed)
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None

    def keep(self, kept: KeptPeriod) -> None:
        """Under the period's name at once or not at all, in place of what was kept of it."""
        with suppress(OSError):
            part = self.folder / _UNFINISHED
            shutil.rmtree(part, ignore_errors=True)
            part.mkdir(parents=True, mode=0o700)
            for name, content in kept.packed.items():
                (part / f"{name}.parquet").write_bytes(content)
            digests = {name: hashlib.sha256(content).hexdigest() for name, content in kept.packed.items()}
            record = {"made_of": kept.made_of, "tables": digests}
            (part / RECORD).write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")
            shutil.rmtree(self.folder / kept.period, ignore_errors=True)
            part.rename(self.folder / kept.period)

    def forget_all_but(self, periods: list[str]) -> None:
        """Delete what is kept of others, such as a period whose people have all withdrawn."""
        with suppress(OSError):
            for one in self.folder.iterdir():
                if one.name not in periods:
                    shutil.rmtree(one, ignore_errors=True)


def _packed(rows: pl.DataFrame) -> bytes:
    buffer = io.BytesIO()
    rows.write_parquet(buffer, compression="lz4", statistics=False)  # unpacked every night, in half the time of zstd
    return buffer.getvalue()
