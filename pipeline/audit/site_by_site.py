"""The least value of one sum over a whole release, found among few sites and proved for all.

Sites share only the rows of all sites together. While the other sites stay as they are, the least value among some is a
small programme. Its prices of the shared rows (dual values) ask each other site whether it could lower the sum
further: one small programme over its own rows alone. Whoever could comes in, and when nobody could, the least value
among the few is the least of all: the duality bound of the whole programme says so, and nothing is taken on trust.

Source   Dantzig & Wolfe, Oper Res 1960;8:101-111: decomposition by prices on the rows that blocks share, here with whole
         blocks brought in instead of their corners (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from pipeline.audit.polytope import NEAR, Polytope

ASKED_FIRST = 4  # sites brought in at once at least; each time as many as are in already
AT_ONCE = 600  # atoms of a part that is solved at once
NOTHING = 1e-9  # a price of nothing


class Sites:
    """A part of a release, taken apart by site. Shapes  site: (atoms,), a number for each atom of the part."""

    def __init__(self, part: Polytope, site: np.ndarray):
        self.part = part
        self.names, label = np.unique(site, return_inverse=True)
        order = np.argsort(label, kind="stable")
        self.atoms = np.split(order, np.searchsorted(label[order], np.arange(1, self.names.size)))
        self.label = label
        of_entry = label[part.rows.indices]
        starts = part.rows.indptr[:-1]
        self.is_shared = np.minimum.reduceat(of_entry, starts) != np.maximum.reduceat(of_entry, starts)
        self.alone: dict[int, Polytope] = {}

    def descent(self, goal: np.ndarray) -> Iterator[tuple[Polytope, np.ndarray | None]]:
        """Possible tables with less and less of `goal @ x`, the last one with the least; None when there is no least.

        Shapes   goal: (atoms,); each table: (atoms of the piece,), the others stay; with it the piece.
        """
        chance = np.random.default_rng(goal.size)
        inside = np.sort(chance.permutation(np.unique(self.label[np.flatnonzero(goal)]))[:ASKED_FIRST])
        if goal.size <= AT_ONCE:
            inside = np.arange(self.names.size)
        while True:
            free = np.sort(np.concatenate([self.atoms[one] for one in inside]))
            piece, line = self.part.cut(free)
            found = piece.priced(goal[free])
            yield piece, None if found is None else found[0]
            if found is None:
                return
            price = np.zeros(self.part.rows.shape[0])
            price[line] = found[1]
            price[~self.is_shared] = 0.0
            more = self._who_lowers(goal, price, chance.permutation(self._others(inside)), inside.size)
            if not more:
                return
            inside = np.sort(np.concatenate([inside, more]))

    def _others(self, inside: np.ndarray) -> np.ndarray:
        return np.setdiff1d(np.arange(self.names.size), inside)

    def _who_lowers(
        self, goal: np.ndarray, price: np.ndarray, others: np.ndarray, most: int
    ) -> list[int]:
        """The first sites that could lower the sum at these prices, `most` at most; none where all together cannot."""
        found: list[int] = []
        for one in others:
            if self._gain(int(one), goal, price) > NEAR / self.names.size:
                found.append(int(one))
            if len(found) >= max(most, ASKED_FIRST):
                break
        return found

    def _gain(self, one: int, goal: np.ndarray, price: np.ndarray) -> float:
        atoms = self.atoms[one]
        if one not in self.alone:
            whole, line = self.part.cut(atoms)
            own = np.flatnonzero(~self.is_shared[line])
            self.alone[one] = replace(whole, rows=whole.rows[own], low=whole.low[own], high=whole.high[own])
        cost = goal[atoms] - price @ self.part.by_atom[:, atoms]
        if np.abs(cost).max() < NOTHING:
            return 0.0
        alone = self.alone[one]
        best = alone.least(cost)
        return np.inf if best is None else float(cost @ (alone.truth - best))
