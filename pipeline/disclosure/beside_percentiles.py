"""Which statements of percentiles have to go, so that withheld counts of bands keep their room beside the others.

A count has room when another table that fits everything published has it far from its true value. Such tables are
sought once more, now among those that heed what percentiles say of bands (percentile_evidence.py). What is proven so
costs nothing. For the rest tables that heed sums alone are taken, which exist (proof.py), and the statements that one
of them breaks are given up: what stays published then fits every table of every proof.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array

from pipeline.disclosure.proof import with_room, without_room
from pipeline.disclosure.reader import Heeded, Piece


def room_beside(
    piece: Piece, withheld: np.ndarray, below: csr_array, fall: np.ndarray, rise: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The classes withheld, and how far numbers below edges fall and rise in tables that do not heed percentiles.

    Shapes   withheld: (classes,) of bool; below: (edges, classes); fall, rise: (edges,), how far percentiles let the
             people below each edge be from their true number; out: (classes,), and (edges,) twice.
    """
    fallen, risen = np.zeros(below.shape[0]), np.zeros(below.shape[0])

    def watch(at: np.ndarray, table: np.ndarray) -> None:
        moved = below[:, at] @ table
        np.maximum(fallen, -moved, out=fallen)
        np.maximum(risen, moved, out=risen)

    left = without_room(piece, withheld, heeded=Heeded(below, fall, rise))
    if left.any():
        left = without_room(piece, withheld, wanted=left, watch=watch)
    if left.any():
        withheld = with_room(piece, withheld, left, watch)
    return withheld, fallen, risen
