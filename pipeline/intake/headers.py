"""Which column of a received file is which field of the site's profile, and that there are not too many of them."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.faults import FileHeld
from pipeline.programme import Profile
from pipeline.seal.header_places import places_of


def columns_of(profile: Profile, headers: Sequence[str], *, where: str, most: int) -> dict[str, int]:
    """field → position of its column.

    Errors   FileHeld: too many columns, or as for header_places.places_of.
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
    wanted = {field: column.header for field, column in profile.columns.items()}
    return places_of(wanted, headers, where=where)
