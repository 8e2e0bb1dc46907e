"""The rows of a CSV or TSV text, line by line, exact also where lines are broken, blank or within quotes.

Each physical line is counted as an editor counts it. A quote that never closes spoils its own line and no other.
"""

from __future__ import annotations

import csv
from collections import deque
from collections.abc import Iterable, Iterator

_MOST_LINES_A_ROW = 20  # of a quoted cell with line ends in it

Cells = list[str]


def records(text: Iterable[str], delimiter: str, quote: str) -> Iterator[tuple[int, Cells | None]]:
    """(physical line on which the row begins, its cells); None for cells that a stray quote has spoilt.

    Lines are as Python splits a text opened with newline="": at \\n, \\r\\n and \\r.
    """
    waiting: deque[tuple[int, str]] = deque()
    numbered = enumerate(text, start=1)
    while True:
        line, content = waiting.popleft() if waiting else next(numbered, (0, ""))
        if not line:
            return
        content = content.removeprefix("\ufeff") if line == 1 else content
        if not quote or quote not in content:
            yield line, content.rstrip("\r\n").split(delimiter)
            continue
        taken: list[tuple[int, str]] = []
        cells = _parsed(_from(content, waiting, numbered, taken), delimiter, quote)
        if cells is None:  # the quote spoils its own line only: the others are read again
            waiting.extendleft(reversed(taken))
        yield line, cells


def _from(
    content: str,
    waiting: deque[tuple[int, str]],
    numbered: Iterator[tuple[int, str]],
    taken: list[tuple[int, str]],
) -> Iterator[str]:
    """A line and, as far as they are asked for, those that may belong to its row; `taken` names them."""
    yield content
    while len(taken) < _MOST_LINES_A_ROW - 1:
        following = waiting.popleft() if waiting else next(numbered, None)
        if following is None:
            return
        taken.append(following)
        yield following[1]


def _parsed(lines: Iterator[str], delimiter: str, quote: str) -> Cells | None:
    """The cells of one row; None where a quote has no partner or stands where it must not."""
    try:
        return next(csv.reader(lines, delimiter=delimiter, quotechar=quote, strict=True), [""])
    except csv.Error:
        return None
