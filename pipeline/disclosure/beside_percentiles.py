"""Which statements of percentiles have to go, so that withheld counts of bands keep their room beside the others.

A count has room when another table that fits everything published has it far from its true value. Such tables are
sought once more, now among those that heed what percentiles say of bands (percentile_evidence.py). What is proven so
costs nothing. For the rest tables are sought that heed percentiles but for those of the groups that the rest is of, and
last tables that heed sums alone, which exist (proof.py). The statements that one of these breaks are given up: what
stays published then fits every table of every proof.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array

from pipeline.disclosure.proof import with_room, without_room
from pipeline.disclosure.reader import Heeded, Piece


def room_beside(
    piece: Piece,
    withheld: np.ndarray,
    below: csr_array,
    members: csr_array,
    fall: np.ndarray,
    rise: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The classes withheld, and how far numbers below edges fall and rise in tables that do not heed percentiles.

    Shapes   withheld: (classes,) of bool; below, members: (edges, classes), as in Evidence; fall, rise:
             (edges,), how far percentiles let the people below each edge be from their true number; out: (classes,),
             and (edges,) twice.
    """
    fallen, risen = np.zeros(below.shape[0]), np.zeros(below.shape[0])

    def watch(at: np.ndarray, table: np.ndarray) -> None:
        moved = below[:, at] @ table
        np.maximum(fallen, -moved, out=fallen)
        np.maximum(risen, moved, out=risen)

    left = without_room(piece, withheld, heeded=Heeded(below, fall, rise))
    if left.any():
        own = members @ left > 0
        heeded = Heeded(below, *(np.where(own, np.inf, end) for end in (fall, rise)))
        left = without_room(piece, withheld, wanted=left, heeded=heeded, watch=watch)
    if left.any():
        left = without_room(piece, withheld, wanted=left, watch=watch)
    if left.any():
        withheld = with_room(piece, withheld, left, watch)
    return withheld, fallen, risen
