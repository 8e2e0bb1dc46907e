"""Tables that fit everything published, found to show how far apart withheld counts can lie.

Each example is one linear programme that moves many counts at once. What it reaches is certain: the table exists.
What it does not reach says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array, eye_array, hstack, vstack

from pipeline.disclosure.inference import Unknown

NEAR = 1e-6  # a solver's idea of zero
BLOCK = 3000  # cells moved at once: larger programmes take longer than they gain
SWEEPS = 12


@dataclass
class Reached:
    """The least and greatest value that each cell took in some example. Shapes  both (cells,)."""

    low: np.ndarray
    high: np.ndarray

    def is_wide(self, width: np.ndarray) -> np.ndarray:
        return self.high - self.low >= width - NEAR


def widen_by_examples(part: Unknown, wanted: np.ndarray, block: np.ndarray, width: np.ndarray) -> Reached:
    """Find examples until each wanted cell has been `width` apart, or sweeps run out.

    Shapes   part: an independent part; wanted, block, width: (unknown,); block is a name by which cells may be moved
             together while the others keep their true value, "" for cells that move with every block.
    The same input gives the same examples.
    """
    reached = Reached(part.truth.copy(), part.truth.copy())
    chance = np.random.default_rng(0)
    names = np.array(sorted(set(block) - {""}))
    for sweep in range(SWEEPS):
        missing = wanted & ~reached.is_wide(width)
        if not missing.any():
            break
        for free in _blocks(block, chance.permutation(names), missing, sweep):
            piece, position = part.freed(free)
            goal = (missing & ~reached.is_wide(width))[position]
            if goal.any():
                upward = chance.random(position.size) < 0.5
                for up in (goal & upward, goal & ~upward):
                    table = _example(piece, up, goal & ~up, width[position])
                    reached.low[position] = np.minimum(reached.low[position], table)
                    reached.high[position] = np.maximum(reached.high[position], table)
    return reached


def _blocks(block: np.ndarray, names: np.ndarray, missing: np.ndarray, sweep: int) -> list[np.ndarray]:
    """Sets of cells to move: a few names at a time, more in later sweeps, each set of about BLOCK cells at first."""
    if names.size == 0:
        return [np.ones(block.size, dtype=bool)]
    size = max(2, round(names.size * BLOCK / block.size)) * (1 + sweep // 4)
    groups = [names[i : i + size] for i in range(0, names.size, size)]
    sets = [(block == "") | np.isin(block, group) for group in groups]
    return [free for free in sets if (free & missing).any()]


def _example(part: Unknown, up: np.ndarray, down: np.ndarray, width: np.ndarray) -> np.ndarray:
    """The table in which the `up` cells rise and the `down` cells fall most in total, none gaining beyond width.

    Shapes   up, down: (unknown,) of bool; width: (unknown,); out: (unknown,), a possible table.
    """
    size = part.cell.size
    ups, downs = np.flatnonzero(up), np.flatnonzero(down)
    extra = ups.size + downs.size
    moved = csr_array(  # gain - x <= 0 for ups, gain + x <= 0 for downs (their gain is minus a value)
        (
            np.concatenate([-np.ones(ups.size), np.ones(downs.size)]),
            (np.arange(extra), np.concatenate([ups, downs])),
        ),
        shape=(extra, size),
    )
    limits = np.concatenate([part.truth[ups] + width[ups], width[downs] - part.truth[downs]])
    found = linprog(
        np.concatenate([np.zeros(size), -np.ones(extra)]),
        A_ub=vstack(
            [hstack([part.order, csr_array((part.order.shape[0], extra))]), hstack([moved, eye_array(extra)])]
        ),
        b_ub=np.concatenate([part.bound, np.zeros(extra)]),
        A_eq=hstack([part.sums, csr_array((part.sums.shape[0], extra))]) if part.sums.shape[0] else None,
        b_eq=part.known if part.sums.shape[0] else None,
        bounds=np.column_stack(
            [
                np.concatenate([part.lowest, np.full(extra, -np.inf)]),
                np.concatenate([np.minimum(part.highest, part.truth + 20 * width.max()), limits]),
            ]
        ),
        method="highs",
    )
    if found.x is None:
        raise ValueError(
            f"no table fits what is published ({found.message}); an equation does not hold in the counts"
        )
    return found.x[:size]
