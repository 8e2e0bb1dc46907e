"""For each sensitive count, how closely a reader of everything published could place it.

First other tables are looked for that move many counts at once (alternatives.py). Each count that they leave open gets
its own two linear programmes, the least and the greatest value it could have. What these find is the whole truth about
the count, as far as it may be taken for a real number.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from pipeline.audit.alternatives import Reach, widen
from pipeline.audit.polytope import Polytope
from pipeline.audit.site_by_site import Sites

AT_ONCE = 2  # parts proved side by side; the solver lets other threads run


@dataclass(frozen=True)
class Proof:
    """What was found of each count asked about.

    Shapes   all (counts,): low, high: values known to be possible, the least and greatest there are where by_programme;
             by_example, by_programme: how it was settled; neither: nobody looked.
    """

    low: np.ndarray
    high: np.ndarray
    width: np.ndarray
    by_example: np.ndarray
    by_programme: np.ndarray


def prove(
    known: Polytope,
    width: np.ndarray,
    is_down: np.ndarray,
    site: np.ndarray,
    scale: np.ndarray,
    *,
    most_breaches: int | None = None,
) -> Proof:
    """Bound every sum that `known` asks about.

    Shapes   width, is_down: (sums,); site, scale: (atoms,), names by which atoms are moved together.
    `most_breaches` ends the search early once so many counts are found to be too narrow; the rest stay unsettled.
    The same input gives the same proof, whatever the number of processors.
    """
    true = known.settled + known.asked @ known.truth
    reach = Reach(true.copy(), true.copy(), width)
    open_parts = known.without_settled()
    by_programme = ~np.isin(known.number, open_parts.number)  # no atom is left: the rows settle them
    parts = list(open_parts.parts())
    with ThreadPoolExecutor(AT_ONCE) as pool:
        list(pool.map(lambda part: widen(part, reach, is_down, site, scale), parts))
    by_programme |= _settled(parts, reach, is_down, site, by_programme, most_breaches)
    return Proof(reach.low, reach.high, width, ~by_programme & reach.is_wide(), by_programme)


def _settled(
    parts: list[Polytope],
    reach: Reach,
    is_down: np.ndarray,
    site: np.ndarray,
    settled: np.ndarray,
    most_breaches: int | None,
) -> np.ndarray:
    """Which counts were settled by programmes of their own.

    A programme is dear, so none is solved for a count that a table found for another has shown to be wide, and the
    second of a count only where the first leaves it narrow.
    """
    settled = settled.copy()
    for part in parts:
        sites = Sites(part, site[part.atom])
        for at, number in enumerate(part.number):
            if settled[number] or reach.is_wide(number):
                continue
            if most_breaches is not None and (settled & ~reach.is_wide()).sum() >= most_breaches:
                return settled
            settled[number] = _is_settled(sites, at, reach, is_down)
    return settled


def _is_settled(sites: Sites, at: int, reach: Reach, is_down: np.ndarray) -> bool:
    """Whether the least and the greatest value of a count are both found now: else it is wide without."""
    goal, number = sites.part.asked[[at]].toarray()[0], sites.part.number[at]
    ends = (1.0, -1.0) if is_down[number] else (-1.0, 1.0)
    for sign in ends:
        for piece, table in sites.descent(sign * goal):
            if table is None:  # there is no greatest: enough of it does
                here = np.flatnonzero(piece.number == number)
                table = piece.pushed(here, np.array([True]), np.array([1e6]), 1e6)
            reach.take(piece, table)
            if sign == ends[0] and reach.is_wide(number):
                return False
    return True
