"""Other tables that fit everything published, found to show that counts can be far from what they are.

Each is one linear programme that moves many counts at once, as far as their need and no farther, while part of the
release keeps its true counts. What it reaches is certain: such a table exists. What it does not reach says nothing.

    bands    of one banding, while the people of every group keep their number: bandings are then independent.
    people   with one band of each banding, the commonest, to take those who come and go; all other bands stay.
    all      everything of some sites at once, for what is left.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from pipeline.disclosure.inference import Unknown

NEAR = 1e-6  # a solver's idea of zero
AT_ONCE = 1500  # cells moved at once: larger programmes take longer than they gain
MOST = 9000  # cells moved at once where bandings and sites move together
SWEEPS = 12  # of each kind at most
GAIN = 0.97  # a sweep that leaves more than this share of what was missing ends its kind
RISING = 0.5
FAR = 20  # needs: no cell moves farther


@dataclass
class Moved:
    """How far each cell was moved. Shapes  low, high: (unknown,), differences from the truth, low <= 0 <= high."""

    low: np.ndarray
    high: np.ndarray

    def falls_short(self, need: np.ndarray) -> np.ndarray:
        return self.high - self.low < need - NEAR


Watch = Callable[[np.ndarray, np.ndarray], None]  # cells, and how far each is from the truth in a table


def moved_apart(
    part: Unknown,
    need: np.ndarray,
    banding: np.ndarray,
    site: np.ndarray,
    is_main: np.ndarray,
    watch: Watch | None = None,
) -> Moved:
    """Find tables until every cell in need has been so far apart, or sweeps run out.

    Shapes   part: an independent part; need, banding, site: (unknown,), banding "" for people; is_main: (unknown,) of
             bool, cells of the commonest band of their banding. watch is shown every table that is used.
    The same input gives the same tables.
    """
    moved = Moved(np.zeros(part.cell.size), np.zeros(part.cell.size))
    chance = np.random.default_rng(0)
    for sets in _sweeps(banding, site, is_main, chance):
        before = moved.falls_short(need).sum()
        for _ in range(SWEEPS):
            for free in sets():
                goal = free & moved.falls_short(need)
                if goal.any():
                    _move(part, free, goal, need, moved, chance, watch)
            left = moved.falls_short(need).sum()
            if left == 0 or left > GAIN * before:
                break
            before = left
    return moved


def _sweeps(
    banding: np.ndarray, site: np.ndarray, is_main: np.ndarray, chance: np.random.Generator
) -> Iterator[Callable[[], list[np.ndarray]]]:
    """Ways to choose the cells that move while the others stay: single bandings, then people, then everything."""
    is_people = banding == ""
    names = np.unique(banding[~is_people])

    def bands() -> list[np.ndarray]:
        found = []
        for name in names:
            own = banding == name
            sites = chance.permutation(np.unique(site[own & (site != "")]))
            for group in np.array_split(sites, max(1, round(own.sum() / AT_ONCE))):
                found.append(own & ((site == "") | np.isin(site, group)))
        return found

    yield bands
    yield lambda: [is_people | is_main]
    yield lambda: [(site == "") | np.isin(site, group) for group in groups_of_sites(site, chance)]


def groups_of_sites(site: np.ndarray, chance: np.random.Generator) -> list[np.ndarray]:
    """Sites in random order, in groups of about MOST cells. Shapes  site: (cells,), "" for all sites together."""
    sites = chance.permutation(np.unique(site[site != ""]))
    return np.array_split(sites, max(1, -(-site.size // MOST)))


def _move(
    part: Unknown,
    free: np.ndarray,
    goal: np.ndarray,
    need: np.ndarray,
    moved: Moved,
    chance: np.random.Generator,
    watch: Watch | None,
) -> None:
    """One table in which the goal's cells rise, or fall, by lot, most in total, and none beyond its need."""
    piece, position = part.freed(free)
    gain = np.where(goal[position], np.where(chance.random(position.size) < RISING, 1.0, -1.0), 0.0)
    lowest, highest = piece.lowest - piece.truth, np.minimum(piece.highest - piece.truth, FAR * need.max())
    highest = np.where(gain > 0, np.minimum(highest, need[position]), highest)
    lowest = np.where(gain < 0, np.maximum(lowest, -need[position]), lowest)
    found = linprog(
        -gain,
        A_ub=piece.order if piece.order.shape[0] else None,
        b_ub=piece.bound - piece.order @ piece.truth if piece.order.shape[0] else None,
        A_eq=piece.sums if piece.sums.shape[0] else None,
        b_eq=np.zeros(piece.sums.shape[0]) if piece.sums.shape[0] else None,
        bounds=np.column_stack([lowest, highest]),
        method="highs",
    )
    if found.x is None:
        raise ValueError(f"the truth does not fit what is published ({found.message})")
    if watch is not None:
        watch(part.cell[position], found.x)
    moved.low[position] = np.minimum(moved.low[position], found.x)
    moved.high[position] = np.maximum(moved.high[position], found.x)
