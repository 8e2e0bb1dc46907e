"""Which sensitive counts a reader could place too closely, and what to withhold besides until there are none.

First tables are sought that show many counts at once to have room (other_tables.py). What is left over is given room
at the least price (repair.py); where it had room all along, that costs nothing and is the proof. All of them in one
table may be too many to find their room in each other: where that would cost a headline, they are halved and taken in
turn. A large piece is worked on by regions, some sites and all sites together, the others keeping their counts.
"""

from __future__ import annotations

import numpy as np

from pipeline.disclosure.other_tables import Watch, groups_of_sites, moved_apart
from pipeline.disclosure.reader import Heeded, Piece
from pipeline.disclosure.repair import cheapest_table, moves

FEW = 6  # counts that are not parted any more, for time's sake


def with_room(
    piece: Piece, withheld: np.ndarray, left: np.ndarray | None = None, watch: Watch | None = None
) -> np.ndarray:
    """The classes withheld and those that must be besides; with these every count in need is proven to have room.

    Shapes   withheld, left, out: (classes,) of bool; left: the counts to give room, all without it unless given.
    A proof stays one when more is withheld: the table that it rests on still fits everything published. watch is shown
    the tables that the proofs of these counts rest on.
    """
    left = np.flatnonzero(without_room(piece, withheld) if left is None else left)
    withheld = withheld.copy()
    chance = np.random.default_rng(0)
    for sites in groups_of_sites(piece.site, chance):
        region = (piece.site == "") | np.isin(piece.site, sites)
        waiting, left = [left[region[left]]], left[~region[left]]
        while waiting:
            batch = waiting.pop()
            if not batch.size:
                continue
            table = cheapest_table(piece, withheld, batch, region)
            more = moves(table) & ~withheld
            if batch.size > FEW and piece.is_headline[more].any():
                waiting += np.array_split(batch, 2)[::-1]
                continue
            withheld |= more
            if watch is not None:
                watch(np.arange(table.size), table)
    return withheld


def without_needless(piece: Piece, least: np.ndarray, withheld: np.ndarray) -> np.ndarray:
    """The withheld classes less those without which every count in need still has room, the dearest tried first.

    Shapes   least, withheld, out: (classes,) of bool; least: what is withheld for itself, and stays.
    """
    withheld = withheld.copy()
    itself = np.arange(withheld.size)
    for one in np.argsort(-piece.price, kind="stable"):
        goes_along = piece.goes_with[one] != itself[one] and withheld[piece.goes_with[one]]
        if not withheld[one] or least[one] or goes_along:
            continue
        withheld[one] = False
        withheld[one] = without_room(piece, withheld).any()
    return withheld


def without_room(
    piece: Piece,
    withheld: np.ndarray,
    *,
    wanted: np.ndarray | None = None,
    heeded: Heeded | None = None,
    watch: Watch | None = None,
) -> np.ndarray:
    """The counts in need for which no table was found, (classes,) of bool; published ones too.

    wanted: (classes,) of bool, the counts to look at, all in need unless given. heeded: sums that tables must keep
    besides. watch is shown every table that is used.
    """
    wanted = piece.need > 0 if wanted is None else wanted
    left = wanted & ~withheld
    for part in piece.unknown(withheld, heeded).parts():
        at, need = part.cell, np.where(wanted, piece.need, 0)[part.cell]
        if need.any():
            moved = moved_apart(part, need, piece.banding[at], piece.site[at], piece.is_main[at], watch)
            left[at] = moved.falls_short(need)
    return left
