"""A participant's number → a pseudonym: HMAC-SHA-256 (RFC 2104, RFC 4231), the first 32 hexadecimal digits."""

from __future__ import annotations

import hmac

HEX_DIGITS = 32
BLANKS = " \t\n\r\u00a0\u202f\ufeff"  # the same as in the macro `trimmed`
SEPARATOR = "\x1f"  # between the scope and the number, so that no scope can run into a number


def pseudonym_of(key: bytes, scope: str, received: str) -> str:
    """The pseudonym of one participant's number as received.

    `scope` keeps apart what must not meet: at intake the site whose numbers are its own, at the site the seal.
    """
    message = f"{scope}{SEPARATOR}{received.strip(BLANKS)}"
    return hmac.digest(key, message.encode(), "sha256").hex()[:HEX_DIGITS]
