"""A number with its noun, as a sentence needs it: 1 row, 2 rows."""

from __future__ import annotations


def amount(n: int, noun: str) -> str:
    """The noun takes a plain s: "1 line", "0 lines", "12 lines"."""
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"
