"""`manifest.json` of a frozen version: every file with its size and sha256, and what the version was made from."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from pipeline import __version__
from pipeline.disclosure.input_account import ROWS
from pipeline.programme import Programme
from pipeline.release.contents import Contents, contents_of
from pipeline.release.frozen import Version

NAME = "manifest.json"
FORM = 1


def manifest_of(
    folder: Path,
    programme: Programme,
    version: Version,
    as_of: date,
    account: pl.DataFrame,
    why: str | None,
    known: Contents | None = None,
) -> dict[str, Any]:
    """The manifest of what stands in `folder`, ready for JSON; it does not list itself.

    Shapes   account: site, files and the rows of input_account, null where they are withheld; known: what is in those
             of the files that were read or digested before.
    """
    return {
        "form": FORM,
        "release": version.name,
        "period": version.period,
        "version": version.number,
        "why": why,
        "programme": programme.settings.name,
        "as_of": as_of.isoformat(),
        "software": f"evenbeam {__version__}",
        "settings_sha256": programme.sha256,
        "inputs": {
            "what": "accepted files so far and their rows: rows_read = rows_accepted + rows_held + rows_duplicate + "
            'rows_superseded. site "" is all sites together. null: withheld, because a count, or its change since '
            "another release, is small.",
            "sites": account.select("site", "files", *ROWS).to_dicts(),
        },
        "files": [
            {"path": path, "bytes": content.bytes, "sha256": content.sha256}
            for path, content in contents_of(folder, known).items()
            if path != NAME
        ],
    }


def account_in(folder: Path) -> pl.DataFrame:
    """The account that a frozen version published."""
    rows = json.loads((folder / NAME).read_text(encoding="utf-8"))["inputs"]["sites"]
    return pl.DataFrame(rows, schema={"site": pl.String, "files": pl.Int64, **dict.fromkeys(ROWS, pl.Int64)})
