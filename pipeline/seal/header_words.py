"""A header in one form, and its words: what a comparison of headers and a search for identifiers both stand on."""

from __future__ import annotations

import re
import unicodedata


def tidy(header: str) -> str:
    """A header without byte order mark and outer blanks, inner blanks single, accents composed."""
    return " ".join(unicodedata.normalize("NFC", header).replace("\ufeff", "").split())


def words_of(header: str) -> list[str]:
    """The words of a header, lower case, without accents: "DateOfBirth" and "date_of_birth" alike."""
    apart = re.sub(r"(?<=[a-zà-ÿ])(?=[A-Z])", " ", header.strip()).replace("ß", "ss")
    plain = unicodedata.normalize("NFKD", apart.replace("ł", "l"))
    plain = "".join(character for character in plain if not unicodedata.combining(character)).lower()
    return re.findall(r"[a-z0-9]+", plain)
