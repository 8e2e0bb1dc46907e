"""Which published counts to withhold, at the least price, so that counts a reader could place too closely get room.

A count has room when another table that fits everything published has it so much higher or lower. One linear programme
asks for such a table for all the counts in need at once, in which published counts may move too, each at the price of
withholding it; what moves is withheld. The table is then the proof that they have room. There always is one: with
everything withheld a reader would not know the programme from one twice its size.

The price of a move is by the person and not by the cell, so the programme is solved again with the prices of the cells
it moved divided by how far it moved them: that comes near to a price by the cell (Candès, Wakin & Boyd, J Fourier Anal
Appl 2008;14:877-905, from memory).
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array, hstack

from pipeline.disclosure.reader import Piece

NEAR = 1e-6  # a solver's idea of zero


def cheapest_table(
    piece: Piece, withheld: np.ndarray, batch: np.ndarray, region: np.ndarray
) -> np.ndarray:
    """How far each count is from the truth in the table that gives every one of a batch room at the least price.

    There always is one where everything may move. Within a region there need not be: two families that are the same
    people at all sites together may not be so at each. Then everything may move after all.

    Shapes   out: (classes,); what moves in it and is published must be withheld, and then it is the proof. withheld,
             region: (classes,) of bool; batch: positions of classes, withheld and in the region. What is not in the
             region keeps its true count.
    """
    knowledge = _Knowledge(piece, region)
    wanted = np.zeros_like(withheld)
    wanted[batch] = True
    tables = [
        table
        for sign in _directions(piece, wanted)
        if (table := knowledge.cheapest_table(withheld, wanted, sign, region, piece.price)) is not None
    ]
    if not tables and not region.all():
        return cheapest_table(piece, withheld, batch, np.ones_like(region))
    if not tables:
        raise ValueError("no table gives room: the counts of the release do not satisfy its equations")
    first = min(tables, key=lambda table: piece.price[moves(table) & ~withheld].sum())
    if not (moves(first) & ~withheld).any():
        return first
    by_cell = piece.price / np.maximum(np.abs(first), NEAR)
    sign = np.where(first < 0, -1.0, 1.0)
    again = knowledge.cheapest_table(withheld, wanted, sign, (withheld & region) | moves(first), by_cell)
    return first if again is None else again  # the first is among those that the second is chosen from


def moves(table: np.ndarray) -> np.ndarray:
    """Whether each count differs from the truth."""
    return np.abs(table) > NEAR


def _directions(piece: Piece, wanted: np.ndarray) -> list[np.ndarray]:
    """Ways to set the wanted counts moving, +1 up and -1 down: all up, and down where there is room, by turns."""
    has_room = np.flatnonzero(wanted & (piece.count - piece.need >= piece.lowest))
    ways = [np.ones(wanted.size) for _ in range(3 if has_room.size else 1)]
    for turn, way in enumerate(ways[1:]):
        way[has_room[turn::2]] = -1
    return ways


class _Knowledge:
    """The equations of a piece, and which counts are part of which, as matrices over differences from the truth."""

    def __init__(self, piece: Piece, region: np.ndarray):
        self.piece, size = piece, piece.count.size
        row = np.unique(piece.equation, return_inverse=True)[1]
        sums = csr_array(
            (np.where(piece.is_total, -1.0, 1.0), (row, piece.position)), shape=(int(row.max()) + 1, size)
        )
        self.sums = sums[np.unique(row[region[piece.position]])]
        parts = np.flatnonzero((piece.part_of != np.arange(size)) & region)
        whole = piece.part_of[parts]
        entries = np.concatenate([np.ones(parts.size), -np.ones(parts.size)])
        columns = np.concatenate([parts, whole])
        self.order = csr_array(
            (entries, (np.tile(np.arange(parts.size), 2), columns)), shape=(parts.size, size)
        )
        self.slack = (piece.count[whole] - piece.count[parts]).astype(float)

    def cheapest_table(
        self,
        withheld: np.ndarray,
        wanted: np.ndarray,
        sign: np.ndarray,
        may_move: np.ndarray,
        price: np.ndarray,
    ) -> np.ndarray | None:
        """Differences from the true counts; None when no table gives all of the wanted room this way.

        Shapes   all (classes,): sign +1 to rise and -1 to fall; may_move, also published ones, at their price.
        """
        piece = self.piece
        free, paid = np.flatnonzero(withheld & may_move), np.flatnonzero(~withheld & may_move)
        low, high = (piece.lowest - piece.count).astype(float), np.full(withheld.size, np.inf)
        low[wanted & (sign > 0)] = piece.need[wanted & (sign > 0)]
        high[wanted & (sign < 0)] = -piece.need[wanted & (sign < 0)]
        bounds = [
            (low[free], high[free]),
            (np.zeros(paid.size), high[paid]),
            (np.zeros(paid.size), -low[paid]),
        ]
        found = linprog(
            np.concatenate([np.zeros(free.size), price[paid], price[paid]]),
            A_eq=_columns(self.sums, free, paid),
            b_eq=np.zeros(self.sums.shape[0]),
            A_ub=_columns(self.order, free, paid) if self.slack.size else None,
            b_ub=self.slack if self.slack.size else None,
            bounds=np.column_stack([np.concatenate(side) for side in zip(*bounds, strict=True)]),
            method="highs",
        )
        if found.x is None:
            return None
        table = np.zeros(withheld.size)
        rise, fall = np.split(found.x[free.size :], 2)
        table[free], table[paid] = found.x[: free.size], rise - fall
        return table


def _columns(matrix: csr_array, free: np.ndarray, paid: np.ndarray) -> csr_array:
    """Withheld counts once, published ones as a rise and a fall."""
    return hstack([matrix[:, free], matrix[:, paid], -matrix[:, paid]], format="csr")
