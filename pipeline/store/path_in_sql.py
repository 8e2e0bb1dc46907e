"""A path as statements write it: DuckDB's readers take a name with a sign like * or [ for every file that fits it."""

from __future__ import annotations

import re
from pathlib import Path


def literal(path: Path) -> str | None:
    """A path as DuckDB's readers take it, which look for every file that a name with a sign like * or [ fits.

    None where it cannot be written: a name that is no UTF-8, or one with a backslash beside such a sign.
    """
    text = str(path)
    try:
        text.encode()
    except UnicodeEncodeError:
        return None
    written = re.sub(r"([*?\[])", r"[\1]", text)
    return None if written != text and "\\" in text else written


def as_named(path: Path) -> set[str]:
    """How statements name a path: what may be reached is compared with a name before signs in it are understood."""
    return {str(path), literal(path) or str(path)}
