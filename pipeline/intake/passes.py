"""Which files go through the SQL together: some that follow each other, as many as a pass may hold.

Files of a pass follow each other in the order in which they are filed, so that numbers of files, and what is a
correction of what, come out as one file after the other would give them. A file that is known already, by its looks,
weighs nothing: an inbox that nobody empties would otherwise make a pass of every few new files among old ones.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from typing import TypeVar

from pipeline.intake.arrival import Arrival

BYTES_AT_MOST = 8 << 20  # as received: about 100,000 rows of text. A larger file is a pass of its own
BYTES_AT_LEAST = 32 << 10  # what any new file counts as: 256 of them take some seconds, and progress shows
FILES_AT_MOST = 2_000  # those that are known among them

Item = TypeVar("Item")


def passes(items: Sequence[Item], weight: Callable[[Item], int]) -> Iterator[tuple[Item, ...]]:
    """All items in their order, in groups. `weight`: bytes that have to be read of one; 0 where most likely none."""
    together: list[Item] = []
    total = 0
    for item in items:
        bytes_of_it = weight(item)
        bytes_of_it = max(bytes_of_it, BYTES_AT_LEAST) if bytes_of_it else 0
        if together and (total + bytes_of_it > BYTES_AT_MOST or len(together) >= FILES_AT_MOST):
            yield tuple(together)
            together, total = [], 0
        together.append(item)
        total += bytes_of_it
    if together:
        yield tuple(together)


def weight_of_new(accepted: set[tuple[str, int]]) -> Callable[[Arrival], int]:
    """The bytes of an arrival; 0 where a file of its site and size was accepted before: most likely it is that one.

    Where it is not, the pass is full sooner than was thought, and the rest of it becomes another.
    """

    def weight(arrival: Arrival) -> int:
        if arrival.remote is not None:
            return 0 if arrival.remote.known_sha256 else arrival.remote.file.size
        with suppress(OSError):  # gone, or closed to us: its reading says so
            size = arrival.path.stat().st_size
            return 0 if (arrival.site, size) in accepted else size
        return 0

    return weight
