"""People and sites in parts, one after the other, where all of them at once would not fit in memory.

Readings that have to stand beside each other are in one part: a person's, or a site's. What is counted adds up over
parts. Windows and sorts over everybody's readings at once would go through the disk many times over.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pipeline.store import Store

READINGS_AT_A_TIME = 10_000_000


def parts_of_people(store: Store) -> int:
    """In how many parts people are gone through, by the hash of their pseudonyms."""
    return 1 + store.value("select count(*) from reading.accepted") // READINGS_AT_A_TIME


def sites_together(held: Iterable[tuple[str, int]], at_most: int) -> Iterator[tuple[str, str]]:
    """First and last of sites that follow each other, and hold at most so much together or are one.

    held: each site with how much it holds, in the order of names.
    """
    first, last, together = "", "", 0
    for site, here in held:
        if together and together + here > at_most:
            yield first, last
            together = 0
        first, last, together = (site if together == 0 else first), site, together + here
    if together:
        yield first, last
