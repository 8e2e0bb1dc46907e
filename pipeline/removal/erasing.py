"""The database file written anew, so that removed rows stand in none of its free pages and in no log.

DuckDB marks deleted rows and reuses their space when it happens to; until then their bytes lie in the file. So after a
removal the live rows are copied into a new file, which takes the old one's place by one rename.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import duckdb

from pipeline.durable import flush
from pipeline.sole_use import opened_alone
from pipeline.store import SETTINGS, why_it_did_not_open

_PART = ".anew"


def erase_if_due(path: Path, *, memory_limit: str) -> bool:
    """Write the store at `path` anew where a removal has not been followed by it yet; returns whether it was.

    A crash leaves the old file as it was, and the removal still marked as due; the next run does it.
    Errors   StoreFault when another process has the store open.
    """
    part = path.with_name(path.name + _PART)
    _clear(part)
    if not path.exists():
        return False
    with opened_alone(path, memory_limit=memory_limit) as store:
        if not store.value("select count(*) from ledger.removal where not is_erased"):
            return False
        store.execute("checkpoint")
    # Read-only from here on: nothing can be written to the old file any more, so nothing can be lost with it.
    connection = duckdb.connect(":memory:", config=dict(SETTINGS, memory_limit=memory_limit))
    try:
        connection.execute(f"attach {_quoted(path)} as old (read_only)")
        if path.with_name(path.name + ".wal").exists():  # somebody wrote in between; the next run tries again
            return False
        connection.execute(f"attach {_quoted(part)} as anew")
        connection.execute("use anew")
        connection.execute("copy from database old to anew")
        connection.execute("update anew.ledger.removal set is_erased = true where not is_erased")
        connection.execute("checkpoint anew")
        connection.execute("use memory")
        connection.execute("detach anew")
        flush(part)
        part.replace(path)
        flush(path.parent)
    except duckdb.IOException as error:
        raise why_it_did_not_open(path, error) from error
    finally:
        connection.close()
        _clear(part)
    shutil.rmtree(path.with_suffix(".spill"), ignore_errors=True)
    return True


def _clear(part: Path) -> None:
    for left in (part, part.with_name(part.name + ".wal")):
        left.unlink(missing_ok=True)


def _quoted(path: Path) -> str:
    """A path as a text of SQL; `attach` takes no parameter."""
    return "'" + str(path).replace("'", "''") + "'"
