"""Which sensitive counts a reader could place too closely, and what to withhold besides until there are none.

First tables are sought that show many counts at once to have room (other_tables.py). What is left over is given room at
the least price (repair.py); where it had room all along, that costs nothing and is the proof.
"""

from __future__ import annotations

import numpy as np

from pipeline.disclosure.other_tables import moved_apart
from pipeline.disclosure.reader import Piece
from pipeline.disclosure.repair import cheapest_room


def with_room(piece: Piece, withheld: np.ndarray) -> np.ndarray:
    """The classes withheld and those that must be besides; with these every count in need is proven to have room.

    Shapes   withheld, out: (classes,) of bool.
    A proof stays one when more is withheld: the table that it rests on still fits everything published.
    """
    left = without_room(piece, withheld)
    return withheld | cheapest_room(piece, withheld, left) if left.any() else withheld


def without_room(piece: Piece, withheld: np.ndarray) -> np.ndarray:
    """The counts in need for which no table was found, (classes,) of bool; published ones too."""
    left = (piece.need > 0) & ~withheld
    for part in piece.unknown(withheld).parts():
        at, need = part.cell, piece.need[part.cell]
        if need.any():
            moved = moved_apart(part, need, piece.banding[at], piece.site[at], piece.is_main[at])
            left[at] = moved.falls_short(need)
    return left
