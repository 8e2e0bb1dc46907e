"""Which encoding a file's bytes are written in.

Order of decision: the profile's `encoding`; a byte order mark; the zero bytes of UTF-16; strict UTF-8; else
charset-normalizer over the lines that are not ASCII.
"""

from __future__ import annotations

import codecs
import io

from pipeline.faults import FileHeld

DETECTION_BYTES = 64 * 1024  # of lines that are not ASCII: more of them tell no more
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


def encoding_of(first: bytes, is_utf8: bool, unusual: bytes, where: str) -> str:
    """The encoding of a file that does not say its own, as a codec of Python.

    first: how the file begins; is_utf8: whether all of it decodes so; unusual: lines of it that are not ASCII.
    Errors   FileHeld where no encoding tried makes text of it.
    """
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
        best = from_bytes(unusual[:DETECTION_BYTES], cp_isolation=_LIKELY).best()
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


def checked_codec(name: str, where: str) -> str:
    """A codec's own name.

    Errors   FileHeld where Python knows none, or one that gives no text.
    """
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
