"""Which sensitive counts a reader could place too closely, and what to withhold besides until there are none.

First tables are sought that show many counts at once to have room (other_tables.py). What is left over is given room
at the least price (repair.py); where it had room all along, that costs nothing and is the proof. All of them in one
table may be too many to find their room in each other: where that would cost a headline, they are halved and taken in
turn. A large piece is worked on by regions, some sites and all sites together, the others keeping their counts.
"""

from __future__ import annotations

import numpy as np

from pipeline.disclosure.other_tables import groups_of_sites, moved_apart
from pipeline.disclosure.reader import Piece
from pipeline.disclosure.repair import cheapest_room

FEW = 6  # counts that are not parted any more, for time's sake


def with_room(piece: Piece, withheld: np.ndarray) -> np.ndarray:
    """The classes withheld and those that must be besides; with these every count in need is proven to have room.

    Shapes   withheld, out: (classes,) of bool.
    A proof stays one when more is withheld: the table that it rests on still fits everything published.
    """
    left, withheld = np.flatnonzero(without_room(piece, withheld)), withheld.copy()
    chance = np.random.default_rng(0)
    for sites in groups_of_sites(piece.site, chance):
        region = (piece.site == "") | np.isin(piece.site, sites)
        waiting, left = [left[region[left]]], left[~region[left]]
        while waiting:
            batch = waiting.pop()
            if not batch.size:
                continue
            more = cheapest_room(piece, withheld, batch, region)
            if batch.size > FEW and piece.is_headline[more].any():
                waiting += np.array_split(batch, 2)[::-1]
            else:
                withheld |= more
    return withheld


def without_room(piece: Piece, withheld: np.ndarray) -> np.ndarray:
    """The counts in need for which no table was found, (classes,) of bool; published ones too."""
    left = (piece.need > 0) & ~withheld
    for part in piece.unknown(withheld).parts():
        at, need = part.cell, piece.need[part.cell]
        if need.any():
            moved = moved_apart(part, need, piece.banding[at], piece.site[at], piece.is_main[at])
            left[at] = moved.falls_short(need)
    return left
