"""Which column of a file is which field: the profile's headers found among the file's.

A header is the same when it is equal after trimming and putting blanks and accents into one form; failing that,
when only the letter case differs. Guessing goes no further: a missing header holds the file.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Sequence

from pipeline.faults import FileHeld, printable
from pipeline.programme import Profile

_VALUE = re.compile(r"[\d.,:/ +-]*\d[\d.,:/ +-]*")


def columns_of(profile: Profile, headers: Sequence[str], *, where: str, most: int) -> dict[str, int]:
    """field → position of its column.

    Errors   FileHeld: too many columns, a header missing (the nearest is named), or one that stands twice.
    """
    if len(headers) > most:
        raise FileHeld(
            "held",
            where=where,
            found=f"{len(headers)} columns",
            expected=f"at most {most} (limits.columns)",
            next="check the delimiter in the site's profile, or raise limits.columns",
            code="too_many_columns",
        )
    exact = [tidy(header) for header in headers]
    folded = [header.casefold() for header in exact]
    found: dict[str, int] = {}
    for field, column in profile.columns.items():
        wanted = tidy(column.header)
        places = [n for n, header in enumerate(exact) if header == wanted]
        places = places or [n for n, header in enumerate(folded) if header == wanted.casefold()]
        if len(places) > 1:
            raise FileHeld(
                "held",
                where=f"{where}, field {field}",
                found=f"the header {wanted} {len(places)} times",
                expected="it once",
                next="rename one of the columns and send the file again",
                code="header_twice",
            )
        if not places:
            raise _missing(field, wanted, exact, where)
        found[field] = places[0]
    return found


def tidy(header: str) -> str:
    """A header without byte order mark and outer blanks, inner blanks single, accents composed."""
    return " ".join(unicodedata.normalize("NFC", header).replace("\ufeff", "").split())


def words_of(header: str) -> list[str]:
    """The words of a header, lower case, without accents: "DateOfBirth" and "date_of_birth" alike."""
    apart = re.sub(r"(?<=[a-zà-ÿ])(?=[A-Z])", " ", header.strip()).replace("ß", "ss")
    plain = unicodedata.normalize("NFKD", apart.replace("ł", "l"))
    plain = "".join(character for character in plain if not unicodedata.combining(character)).lower()
    return re.findall(r"[a-z0-9]+", plain)


def _missing(field: str, wanted: str, headers: Sequence[str], where: str) -> FileHeld:
    named = [printable(header) for header in headers if header]
    if any(_VALUE.fullmatch(header) for header in named):  # then they are somebody's values: not to be shown
        return FileHeld(
            "held",
            where=f"{where}, field {field}",
            found=f"no header {wanted}; the header line holds values",
            expected=f"a column {wanted}, as the site's profile says",
            next="add the line of headers to the file, or correct header_row in the profile",
            code="header_missing",
        )
    close = difflib.get_close_matches(
        wanted.casefold(), [header.casefold() for header in named], n=1, cutoff=0.6
    )
    nearest = next((header for header in named if close and header.casefold() == close[0]), None)
    shown = f"; the nearest is {nearest}" if nearest else ""
    few = ", ".join(named[:12]) + (" …" if len(named) > 12 else "")
    return FileHeld(
        "held",
        where=f"{where}, field {field}",
        found=f"no header {wanted}{shown} (headers: {few})",
        expected=f"a column {wanted}, as the site's profile says",
        next="correct the header in the file or in the profile, then run again",
        code="header_missing",
    )
