"""store/protected/: the rows of each period as the programme's view may show them, so that a period whose results are
as they were need not be protected again.

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
from contextlib import suppress
from pathlib import Path

import polars as pl

from pipeline.disclosure.protect import Tables
from pipeline.release.contents import content_of
from pipeline.release.parquet_file import write_parquet

FOLDER = "protected"
RECORD = "made_of.json"
_UNFINISHED = ".unfinished"


class PeriodsKept:
    """A folder a period; what cannot be written costs time later."""

    def __init__(self, store: Path):
        self.folder = store / FOLDER

    def read(self, period: str, made_of: str) -> Tables | None:
        """The period's tables, where they were made of the same; None where not, or where a file is not as written."""
        try:
            record = json.loads((self.folder / period / RECORD).read_text(encoding="utf-8"))
            if record["made_of"] != made_of:
                return None
            tables = {}
            for name, digest in record["tables"].items():
                content = (self.folder / period / f"{name}.parquet").read_bytes()
                if hashlib.sha256(content).hexdigest() != digest:
                    return None
                tables[name] = pl.read_parquet(io.BytesIO(content))
            return tables
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None

    def keep(self, period: str, made_of: str, tables: Tables) -> None:
        """Under the period's name at once or not at all, in place of what was kept of it."""
        with suppress(OSError):
            part = self.folder / _UNFINISHED
            shutil.rmtree(part, ignore_errors=True)
            part.mkdir(parents=True, mode=0o700)
            digests = {}
            for name, rows in tables.items():
                write_parquet(rows, part / f"{name}.parquet")
                digests[name] = content_of(part / f"{name}.parquet").sha256
            record = {"made_of": made_of, "tables": digests}
            (part / RECORD).write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")
            shutil.rmtree(self.folder / period, ignore_errors=True)
            part.rename(self.folder / period)

    def forget_all_but(self, periods: list[str]) -> None:
        """Delete what is kept of others, such as a period whose people have all withdrawn."""
        with suppress(OSError):
            for one in self.folder.iterdir():
                if one.name not in periods:
                    shutil.rmtree(one, ignore_errors=True)
