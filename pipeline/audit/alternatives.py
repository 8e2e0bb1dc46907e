"""Other tables that fit everything published, found to show how far apart a count's values can lie.

Each one is a linear programme that raises a handful of counts together, or lowers them where nearly the whole group is
in the count, within part of the release while the rest stays as it is. All other counts are free to give way, and show
how low they can be by doing so. What such a table reaches is certain: it exists. What none reaches says nothing; those
counts get programmes of their own (proof.py).

A tenth of the open counts at a time goes best: raised all together they would stand in each other's way, since what
one count gains others of the same sum must lose.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.audit.polytope import NEAR, Polytope

SHARE = 0.1  # of the open counts, pushed together
FEWEST = 30  # pushed together at least
FAR = 20  # widths that an atom may rise above its true value
# (one scale at a time, so that sizes of groups stay; atoms moved at once), in order. A programme of all sites at once
# takes a hundred times as long as all of these small ones together, and proves no more.
ROUNDS = ((True, 800),) * 3 + ((False, 1500),) * 12
ATOMS_A_PROGRAMME = 150  # a round over so many atoms takes as long as a count's own programme


@dataclass
class Reach:
    """The least and greatest value that each count took in some table. Shapes  low, high, width: (counts,)."""

    low: np.ndarray
    high: np.ndarray
    width: np.ndarray

    def is_wide(self, of: np.ndarray | slice = slice(None)) -> np.ndarray:
        return self.high[of] - self.low[of] >= self.width[of] - NEAR

    def take(self, part: Polytope, table: np.ndarray) -> None:
        value = part.settled + part.asked @ table
        self.low[part.number] = np.minimum(self.low[part.number], value)
        self.high[part.number] = np.maximum(self.high[part.number], value)


def widen(part: Polytope, reach: Reach, is_down: np.ndarray, site: np.ndarray, scale: np.ndarray) -> None:
    """Find tables of one part until every count asked about is wide, or rounds run out.

    Shapes   is_down: (counts,), to be lowered rather than raised; site, scale: of every atom of the release.
    The same input gives the same tables.
    """
    chance = np.random.default_rng(part.atom.size)
    site, scale = site[part.atom], scale[part.atom]
    for is_one_scale, at_once in ROUNDS:
        before = _open(part, reach).size
        if not before:
            return
        for free in _pieces(site, scale, chance, is_one_scale, at_once):
            piece = part.freed(free)
            for _ in range(2):
                wanted = chance.permutation(_open(piece, reach))
                push(piece, wanted[: max(FEWEST, round(SHARE * wanted.size))], reach, is_down)
        proved = before - _open(part, reach).size
        if not is_one_scale and proved * ATOMS_A_PROGRAMME < part.atom.size:
            break


def _open(part: Polytope, reach: Reach) -> np.ndarray:
    """Positions, among the counts of a part, of those not wide yet."""
    return np.flatnonzero(~reach.is_wide(part.number))


def push(piece: Polytope, wanted: np.ndarray, reach: Reach, is_down: np.ndarray) -> None:
    """Push these counts by as much as they lack."""
    if not wanted.size:
        return
    number = piece.number[wanted]
    true = piece.settled[wanted] + piece.asked[wanted] @ piece.truth
    is_up = ~is_down[number]
    lacks = reach.width[number] - np.where(is_up, true - reach.low[number], reach.high[number] - true)
    reach.take(piece, piece.pushed(wanted, is_up, lacks, FAR * reach.width[number].max()))


def _pieces(
    site: np.ndarray, scale: np.ndarray, chance: np.random.Generator, is_one_scale: bool, at_once: int
) -> Iterator[np.ndarray]:
    """Sets of atoms to move: the sites in random companies of about `at_once` atoms, at least four sites each."""
    for which in np.unique(scale) if is_one_scale else [None]:
        here = np.flatnonzero(scale == which) if is_one_scale else np.arange(scale.size)
        names, which_site = np.unique(site[here], return_inverse=True)
        company = max(4, round(names.size * at_once / here.size))
        turn = np.empty(names.size, dtype=int)
        turn[chance.permutation(names.size)] = np.arange(names.size) // company
        of = turn[which_site]
        order = np.argsort(of, kind="stable")
        yield from np.split(here[order], np.flatnonzero(np.diff(of[order])) + 1)
