"""From a file's bytes to text: gzip or not, which encoding, how many lines.

DuckDB reads UTF-8 reliably and nothing else, so every other text is copied as UTF-8 into the run's spool folder, a
block at a time.
"""

from __future__ import annotations

import codecs
import gzip
import io
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import BinaryIO, TextIO

from pipeline.faults import FileHeld
from pipeline.seal import limits
from pipeline.seal.addresses import AddressScan
from pipeline.seal.encoding import DETECTION_BYTES, checked_codec, encoding_of

_CHUNK = 1 << 20
_GZIP = b"\x1f\x8b"
_MOST_BYTES_A_CHARACTER = 4  # of any encoding


@dataclass(frozen=True)
class TextFacts:
    """What one pass over a text file's bytes tells."""

    encoding: str  # a Python codec name; utf-8-sig has a byte order mark
    is_gzip: bool
    bytes: int  # after unpacking
    lines: int  # physical lines, as an editor counts them; of single-byte line ends only
    has_plain_line_ends: bool  # only \n or only \r\n
    address_line: int | None = None  # the first line among the rows with an e-mail address
    extracts: tuple[bytes, ...] = ()  # pieces from all over the file, cut anywhere

    @property
    def is_ready(self) -> bool:
        """DuckDB can read the file as it lies."""
        return not self.is_gzip and self.encoding in ("utf-8", "utf-8-sig")


def is_gzip(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(2) == _GZIP


def opened(path: Path) -> BinaryIO:
    """The file's bytes, unpacked where it is gzip, whatever its name says."""
    return gzip.open(path, "rb") if is_gzip(path) else path.open("rb")  # type: ignore[return-value]


def survey(
    path: Path,
    *,
    where: str,
    encoding: str | None,
    most_bytes: int = limits.UNPACKED_BYTES,
    most_rows: int = limits.ROWS,
    most_characters: int = limits.LINE_CHARACTERS,
    rows_from: int = 1,
) -> TextFacts:
    """Decide the encoding, count the lines and look for an e-mail address from the line `rows_from` on.

    Errors   FileHeld: damaged gzip or gzip within gzip, more than `most_bytes` unpacked or `most_rows`, a line that is
             longer than `most_characters` whatever its encoding (of shorter ones lines_of decides), bytes that
             are not the profile's encoding, or that are no text in any encoding tried.
    """
    utf8 = codecs.getincrementaldecoder("utf-8")()
    is_utf8, size, first, unusual = True, 0, b"", b""
    ends, addresses, extracts = _LineEnds(), AddressScan(rows_from), _Extracts()
    for chunk in _blocks(path, where):
        if not first and chunk.startswith(_GZIP):
            raise _packed_twice(where)
        first = first or chunk[:4096]
        size += len(chunk)
        if size > most_bytes:
            raise too_large(where, most_bytes)
        before = ends.n
        addresses.feed(chunk, before)
        extracts.feed(chunk)
        ends.feed(chunk)
        if ends.bytes_since > _MOST_BYTES_A_CHARACTER * most_characters:
            raise _line_too_long(where, before + 1, most_characters)
        if ends.n > most_rows + rows_from:
            raise too_many_rows(where, most_rows)
        if not chunk.isascii() and len(unusual) < DETECTION_BYTES:
            unusual += b"\n".join(line for line in chunk.splitlines() if not line.isascii())[:DETECTION_BYTES]
        if is_utf8:
            is_utf8 = _still_decodes(utf8, chunk)
    is_utf8 = is_utf8 and _still_decodes(utf8, b"", final=True)
    found = encoding or encoding_of(first, is_utf8, unusual, where)
    return TextFacts(
        encoding=checked_codec(found, where),
        is_gzip=is_gzip(path),
        bytes=size,
        lines=ends.n + (ends.bytes_since > 0),
        has_plain_line_ends=ends.are_plain,
        address_line=addresses.line,
        extracts=tuple(extracts.pieces),
    )


class _LineEnds:
    """The line ends of a file, block by block: \\n, \\r, and \\r\\n as one."""

    def __init__(self) -> None:
        self.bytes_since = 0  # the last one
        self._newlines, self._returns, self._pairs, self._last = 0, 0, 0, b""

    @property
    def n(self) -> int:
        return self._newlines + self._returns - self._pairs

    @property
    def are_plain(self) -> bool:
        """Only \\n, or only \\r\\n."""
        return self._returns in (0, self._newlines) and self._returns == self._pairs

    def feed(self, block: bytes) -> None:
        end = max(block.rfind(b"\n"), block.rfind(b"\r"))
        self.bytes_since = len(block) - end - 1 if end >= 0 else self.bytes_since + len(block)
        self._newlines += block.count(b"\n")
        if b"\r" in block:
            self._returns += block.count(b"\r")
            self._pairs += block.count(b"\r\n")
        self._pairs += self._last == b"\r" and block[:1] == b"\n"
        self._last = block[-1:]


class _Extracts:
    """A bounded number of pieces spread over a file: when there are too many every second one goes."""

    _EVERY, _BYTES, _MOST = 1 << 15, 1 << 12, 256  # of a piece: multiples of four bytes, as UTF-32 needs

    def __init__(self) -> None:
        self.pieces: list[bytes] = []
        self._stride, self._seen = 1, 0

    def feed(self, block: bytes) -> None:
        for start in range(0, len(block), self._EVERY):
            if self._seen % self._stride == 0:
                self.pieces.append(block[start : start + self._BYTES])
                if len(self.pieces) > self._MOST:
                    self.pieces, self._stride = self.pieces[::2], self._stride * 2
            self._seen += 1


def lines_of_extracts(facts: TextFacts) -> Iterator[str]:
    """The whole lines within the extracts. The first and last of each are cut, and so left out."""
    codec = {"utf-16": "utf-16-le", "utf-32": "utf-32-le"}.get(facts.encoding, facts.encoding)
    if facts.extracts and facts.extracts[0].startswith(codecs.BOM_UTF16_BE):
        codec = "utf-16-be"
    for piece in facts.extracts:
        for line in piece.decode(codec, errors="replace").splitlines()[1:-1]:
            if line:
                yield line + "\n"


@contextmanager
def text_of(path: Path, encoding: str, *, where: str) -> Iterator[TextIO]:
    """The file as text with its line ends untouched.

    Errors   FileHeld when the bytes do not fit the encoding.
    """
    try:
        with opened(path) as raw, io.TextIOWrapper(raw, encoding=encoding, newline="") as text:
            yield text
    except UnicodeError as error:
        raise _wrong_encoding(where, encoding) from error
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise _damaged(where) from error


def lines_of(text: TextIO, *, where: str, most: int) -> Iterator[str]:
    """The lines of a text, line ends included, none of which is ever longer than `most` characters in memory.

    Errors   FileHeld (line_too_long).
    """
    for number, line in enumerate(iter(partial(text.readline, most + 1), ""), start=1):
        if len(line) > most:
            raise _line_too_long(where, number, most)
        yield line


def spool_as_utf8(path: Path, encoding: str, spool: Path, *, where: str) -> None:
    """Copy a text as UTF-8 without byte order mark to `spool`, in blocks."""
    with text_of(path, encoding, where=where) as text, spool.open("w", encoding="utf-8", newline="") as copy:
        while block := text.read(_CHUNK):
            copy.write(block.removeprefix("\ufeff") if copy.tell() == 0 else block)


def too_large(where: str, most_bytes: int, limit: str = "unpacked_bytes") -> FileHeld:
    unpacked = ", unpacked" if limit == "unpacked_bytes" else ""
    return FileHeld(
        "held",
        where=where,
        found=f"more than {most_bytes} bytes{unpacked}",
        expected=f"at most {most_bytes} bytes{unpacked} (limits.{limit})",
        next=f"split the file, or raise limits.{limit} in the programme's settings",
        code="file_too_large",
    )


def too_many_rows(where: str, most_rows: int) -> FileHeld:
    return FileHeld(
        "held",
        where=where,
        found=f"more than {most_rows} rows",
        expected=f"at most {most_rows} rows (limits.rows)",
        next="split the file, or raise limits.rows in the programme's settings",
        code="too_many_rows",
    )


def _blocks(path: Path, where: str) -> Iterator[bytes]:
    try:
        with opened(path) as file:
            while chunk := file.read(_CHUNK):
                yield chunk
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise _damaged(where) from error


def _still_decodes(decoder: codecs.IncrementalDecoder, chunk: bytes, *, final: bool = False) -> bool:
    try:
        decoder.decode(chunk, final)
    except UnicodeDecodeError:
        return False
    return True


def _wrong_encoding(where: str, encoding: str) -> FileHeld:
    return FileHeld(
        "held",
        where=where,
        found=f"bytes that are not {encoding}",
        expected=f"text in {encoding}",
        next="name the file's encoding in the site's profile, or take it out to have it detected",
        code="encoding",
    )


def _damaged(where: str) -> FileHeld:
    return FileHeld(
        "held",
        where=where,
        found="a gzip file that ends too early or is damaged",
        expected="a whole gzip file",
        next="send the file again",
        code="damaged",
    )


def _line_too_long(where: str, line: int, most: int) -> FileHeld:
    return FileHeld(
        "held",
        where=f"{where}, line {line}",
        found=f"more than {most} characters",
        expected=f"lines of at most {most} characters (limits.line_characters)",
        next="check that the file is what it should be, or raise limits.line_characters",
        code="line_too_long",
    )


def _packed_twice(where: str) -> FileHeld:
    return FileHeld(
        "held",
        where=where,
        found="a gzip file within a gzip file",
        expected="a file packed once, or not at all",
        next="unpack it once and send it again",
        code="damaged",
    )
