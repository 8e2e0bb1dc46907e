"""The rows of a CSV or TSV text, line by line, exact also where lines are broken, blank or within quotes.

Each physical line is counted as an editor counts it. A quote that never closes spoils its own line and no other.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator

from pipeline.faults import FileHeld

_MOST_LINES_A_ROW = 20  # of a quoted cell with line ends in it
_MOST_CHARACTERS_A_LINE = 1 << 20

Cells = list[str]


def records(
    text: Iterable[str], delimiter: str, quote: str, *, where: str
) -> Iterator[tuple[int, Cells | None]]:
    """(physical line on which the row begins, its cells); None for cells that a stray quote has spoilt.

    Lines are as Python splits a text opened with newline="": at \\n, \\r\\n and \\r.
    """
    waiting: list[tuple[int, str]] = []
    numbered = enumerate(text, start=1)
    while True:
        line, content = waiting.pop(0) if waiting else next(numbered, (0, ""))
        if not line:
            return
        if len(content) > _MOST_CHARACTERS_A_LINE:
            raise FileHeld(
                "held",
                where=f"{where}, line {line}",
                found=f"more than {_MOST_CHARACTERS_A_LINE} characters",
                expected="lines of readings",
                next="check that the file is what it should be",
                code="line_too_long",
            )
        content = content.removeprefix("\ufeff") if line == 1 else content
        if not quote or quote not in content:
            yield line, content.rstrip("\r\n").split(delimiter)
            continue
        taken = [content]
        cells = _parsed("".join(taken), delimiter, quote)
        while cells is _OPEN and len(taken) < _MOST_LINES_A_ROW:
            following = waiting.pop(0) if waiting else next(numbered, None)
            if following is None:
                break
            taken.append(following[1])
            cells = _parsed("".join(taken), delimiter, quote)
        if isinstance(cells, list):
            yield line, cells
        else:  # the quote spoils its own line only: the others are read again
            waiting = [(line + n, later) for n, later in enumerate(taken[1:], start=1)] + waiting
            yield line, None


_OPEN = object()


def _parsed(content: str, delimiter: str, quote: str) -> Cells | object | None:
    """The cells of one row; _OPEN where a quote has not closed yet; None where one stands where it must not."""
    try:
        found = list(csv.reader([content], delimiter=delimiter, quotechar=quote, strict=True))
    except csv.Error as error:
        return _OPEN if "unexpected end" in str(error) else None
    return found[0] if found else [""]
