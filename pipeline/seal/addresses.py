"""E-mail addresses: in one text, or anywhere in a file's bytes, in the same pass as the decoding survey.

One address is enough to refuse a file, and it may stand in the last of a million rows: a sample cannot promise that
there is none. What comes before the rows is left out: a preamble names whoever made the export, nobody measured.
"""

from __future__ import annotations

import re

# A letter, digit or _%+- before the mark; behind it labels with full stops, the last of letters alone. So "@", "@home",
# "10 @ 60" and "60@30.5" are none. Letters other than ASCII count too, in every encoding that keeps ASCII.
_IN_TEXT = re.compile(r"(?<=[\w%+-])@(?:[\w-]{1,63}\.){1,8}[^\W\d_]{2,24}(?!\w)")
_IN_BYTES = re.compile(
    rb"(?<=[\w%+\x80-\xff-])@(?:[\w\x80-\xff-]{1,63}\.){1,8}[A-Za-z\x80-\xff]{2,24}(?![\w\x80-\xff])"
)
# The same for engines without look-around (Polars, DuckDB). They need no bounds: their time is linear in the text.
PATTERN_OF_CELLS = r"[\p{L}\p{N}_%+-]@(?:[\p{L}\p{N}_-]+\.)+\p{L}{2,}(?:$|[^\p{L}\p{N}_])"
_LINE_END = re.compile(rb"\r\n|\n|\r")
_LONGEST = 1024  # bytes carried from one block to the next; longer than any address that the pattern matches


def holds_address(text: str) -> bool:
    """Is there an e-mail address in this text, alone or among other words?"""
    return "@" in text and _IN_TEXT.search(text) is not None


class AddressScan:
    """Feed a file's blocks in order; `line` is then the first line with an address at or after `rows_from`.

    Lines are physical, 1 is the first. Zero bytes are passed over, so that UTF-16 and UTF-32 are read alike.
    """

    def __init__(self, rows_from: int = 1):
        self.line: int | None = None
        self._rows_from, self._carried = rows_from, b""

    def feed(self, block: bytes, ends_before: int) -> None:
        """`ends_before`: how many line ends the blocks before this one held."""
        if self.line is not None:
            return
        block = block.replace(b"\0", b"") if b"\0" in block else block
        whole = self._carried + block
        if b"@" in whole:
            ends_carried = len(_LINE_END.findall(self._carried))
            for match in _IN_BYTES.finditer(whole):
                line = ends_before - ends_carried + len(_LINE_END.findall(whole, 0, match.start())) + 1
                if line >= self._rows_from:
                    self.line = line
                    return
        self._carried = whole[-_LONGEST:]
