"""Which column of a file is which field: the profile's headers found among the file's.

A header is the same when it is equal after trimming and putting blanks and accents into one form; failing that,
when only the letter case differs. Guessing goes no further: a missing header holds the file.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence

from pipeline.faults import FileHeld, printable
from pipeline.seal.header_words import tidy

_VALUE = re.compile(r"[\d.,:/ +-]*\d[\d.,:/ +-]*")


def places_of(wanted: Mapping[str, str], headers: Sequence[str], *, where: str) -> dict[str, int]:
    """field → position of its column, for `wanted`: field → header.

    Errors   FileHeld: a header missing (the nearest is named), or one that stands twice.
    """
    exact = [tidy(header) for header in headers]
    folded = [header.casefold() for header in exact]
    found: dict[str, int] = {}
    for field, header in wanted.items():
        name = tidy(header)
        places = [n for n, other in enumerate(exact) if other == name]
        places = places or [n for n, other in enumerate(folded) if other == name.casefold()]
        if len(places) > 1:
            raise FileHeld(
                "held",
                where=f"{where}, field {field}",
                found=f"the header {name} {len(places)} times",
                expected="it once",
                next="rename one of the columns and send the file again",
                code="header_twice",
            )
        if not places:
            raise _missing(field, name, exact, where)
        found[field] = places[0]
    return found


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
