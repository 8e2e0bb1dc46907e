"""A participant's number → a pseudonym: HMAC-SHA-256 (RFC 2104, RFC 4231), the first 32 hexadecimal digits.

Accents are composed first (Unicode normalisation form C): é is one person's whether it came as one character or as e
and a mark, which look the same and which systems write either way. Nothing else is made alike: letter case, and
characters that are only similar, may tell two people apart.
"""

from __future__ import annotations

import hmac
import unicodedata

HEX_DIGITS = 32
BLANKS = " \t\n\r\u00a0\u202f\ufeff"  # the same as in the macro `trimmed`
SEPARATOR = "\x1f"  # between the scope and the number, so that no scope can run into a number


def pseudonym_of(key: bytes, scope: str, received: str) -> str:
    """The pseudonym of one participant's number as received.

    `scope` keeps apart what must not meet: at intake the site whose numbers are its own, at the site the seal.
    """
    return pseudonym_as_written(key, scope, unicodedata.normalize("NFC", received))


def pseudonym_as_written(key: bytes, scope: str, received: str) -> str:
    """The same of the very characters: what earlier versions kept of a number written with marks of their own."""
    message = f"{scope}{SEPARATOR}{received.strip(BLANKS)}"
    return hmac.digest(key, message.encode(), "sha256").hex()[:HEX_DIGITS]


def pseudonyms_kept(key: bytes, scope: str, number: str) -> tuple[str, ...]:
    """Every pseudonym under which a store may hold this number, its present one first."""
    decomposed = unicodedata.normalize("NFD", number)
    found = (pseudonym_of(key, scope, number), *(pseudonym_as_written(key, scope, one) for one in (number, decomposed)))
    return tuple(dict.fromkeys(found))
