"""From a file's bytes to text: gzip or not, which encoding, how many lines.

Order of decision: the profile's `encoding`; a byte order mark; the zero bytes of UTF-16; strict UTF-8; else
charset-normalizer over the lines that are not ASCII. DuckDB reads UTF-8 reliably and nothing else, so every
other text is copied as UTF-8 into the run's spool folder, a block at a time.
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

_CHUNK = 1 << 20
_GZIP = b"\x1f\x8b"
_MARKS = (  # UTF-32 first: its little-endian mark begins with that of UTF-16
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
# Codecs of Python that are no way in which a file's letters are written, and give what is no text.
_NO_CODE_PAGES = ("unicode-escape", "unicode_escape", "raw-unicode-escape", "raw_unicode_escape", "utf-7", "idna",
                  "punycode", "undefined", "mbcs", "oem")  # fmt: skip
_MOST_BYTES_A_CHARACTER = 4  # of any encoding
_DETECTION_BYTES = 64 * 1024
# What office software in the sites' countries writes; a longer list only adds ways to be wrong.
_LIKELY = [
    "cp1252",
    "latin_1",
    "iso8859_15",
    "cp1250",
    "iso8859_2",
    "mac_roman",
    "cp850",
    "cp437",
    "cp1251",
    "cp1253",
    "cp1254",
    "cp1257",
    "shift_jis",
    "gb18030",
    "big5",
    "euc_kr",
]
_WESTERN = {chr(code) for code in range(128)} | set(
    "äöüßÄÖÜéèêëàâáíìîïóòôúùûñçãõåæøÉÈÊÀÂÁÍÓÚÑÇÃÕÅÆØœ°²€–’“”«»·º\u00a0"
)


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
    is_utf8, size, newlines, returns, pairs, last, unusual = True, 0, 0, 0, 0, b"", b""
    first, addresses, extracts = b"", AddressScan(rows_from), _Extracts()
    since_end = 0  # bytes after the last line end
    for chunk in _blocks(path, where):
        if not first and chunk.startswith(_GZIP):
            raise _packed_twice(where)
        first = first or chunk[:4096]
        size += len(chunk)
        if size > most_bytes:
            raise too_large(where, most_bytes)
        addresses.feed(chunk, newlines + returns - pairs)
        extracts.feed(chunk)
        end = max(chunk.rfind(b"\n"), chunk.rfind(b"\r"))
        since_end = len(chunk) - end - 1 if end >= 0 else since_end + len(chunk)
        if since_end > _MOST_BYTES_A_CHARACTER * most_characters:
            raise _line_too_long(where, newlines + returns - pairs + 1, most_characters)
        newlines += chunk.count(b"\n")
        if b"\r" in chunk:
            returns += chunk.count(b"\r")
            pairs += chunk.count(b"\r\n")
        pairs += last == b"\r" and chunk[:1] == b"\n"
        if returns - pairs + newlines > most_rows + rows_from:
            raise too_many_rows(where, most_rows)
        last = chunk[-1:]
        if not chunk.isascii() and len(unusual) < _DETECTION_BYTES:
            unusual += b"\n".join(line for line in chunk.splitlines() if not line.isascii())[
                :_DETECTION_BYTES
            ]
        if is_utf8:
            is_utf8 = _still_decodes(utf8, chunk)
    is_utf8 = is_utf8 and _still_decodes(utf8, b"", final=True)
    found = encoding or _encoding_of(first, is_utf8, unusual, where)
    ends = returns - pairs + newlines
    return TextFacts(
        encoding=_checked_codec(found, where),
        is_gzip=is_gzip(path),
        bytes=size,
        lines=ends + (size > 0 and last not in (b"\n", b"\r")),
        has_plain_line_ends=returns in (0, newlines) and returns == pairs,
        address_line=addresses.line,
        extracts=tuple(extracts.pieces),
    )


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


def _encoding_of(first: bytes, is_utf8: bool, unusual: bytes, where: str) -> str:
    for mark, name in _MARKS:
        if first.startswith(mark):
            return name
    zeros_even, zeros_odd = first[0::2].count(0), first[1::2].count(0)
    if (
        max(zeros_even, zeros_odd) > len(first) / 5
        and min(zeros_even, zeros_odd) < max(zeros_even, zeros_odd) / 4
    ):
        return "utf-16-be" if zeros_even > zeros_odd else "utf-16-le"
    if is_utf8:
        return "utf-8"
    if _is_western(unusual):
        return "cp1252"
    try:  # takes a third of a second to import, and few files need it; a site's small install does without
        from charset_normalizer import from_bytes
    except ModuleNotFoundError:
        best = None
    else:
        best = from_bytes(unusual[:_DETECTION_BYTES], cp_isolation=_LIKELY).best()
    if best is None:
        raise FileHeld(
            "held",
            where=where,
            found="bytes that are no text in any encoding tried",
            expected="text",
            next='name the encoding in the site\'s profile, e.g. encoding = "cp1252"',
            code="encoding",
        )
    return best.encoding


def _is_western(unusual: bytes) -> bool:
    """Windows-1252 (and so Latin-1) when that makes every byte a letter or sign that Western languages use:
    the bytes of other code pages come out as stray signs such as ³ or ¿. Short texts tell no more."""
    try:
        return set(unusual.decode("cp1252")) <= _WESTERN
    except UnicodeDecodeError:
        return False


def _checked_codec(name: str, where: str) -> str:
    try:
        io.TextIOWrapper(io.BytesIO(), encoding=name)  # refuses codecs of bytes such as zip, and unknown ones
        if codecs.lookup(name).name in _NO_CODE_PAGES:
            raise LookupError(name)
        return {"utf_8": "utf-8", "utf_8_sig": "utf-8-sig"}.get(
            name.replace("-", "_").lower(), codecs.lookup(name).name
        )
    except (LookupError, ValueError) as error:
        raise FileHeld(
            "held",
            where=where,
            found=f"encoding {name!r} in the site's profile",
            expected="a known encoding such as utf-8, cp1252, utf-16",
            next="correct the profile",
            code="encoding",
        ) from error


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
