"""The whole of it: sensitive cells → every cell to withhold.

    1  what single sums give away (complementary.py): fast, and right for nearly every count;
    2  what all sums together give away, with a proof for every count (proof.py), each period by itself. Of a piece that
       is small enough the cheapest set is found exactly instead (optimum.py), from the sensitive cells on;
    3  single sums once more, for what the second step decided: withheld parts that are a small count together.

The third step withholds more, which leaves every proof of the second as it is.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import polars as pl

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.complementary import with_complements
from pipeline.disclosure.losses import Losses, with_company
from pipeline.disclosure.need import needed_width
from pipeline.disclosure.optimum import optimal_suppression
from pipeline.disclosure.presence import Presence
from pipeline.disclosure.proof import with_room
from pipeline.disclosure.reader import Piece, pieces_of

SMALL = 600  # classes times sensitive ones for which the optimum is a matter of seconds


def suppressed(
    cells: Cells,
    equations: pl.DataFrame,
    sensitive: np.ndarray,
    minimum_count: int,
    presence: Presence | None = None,
    *,
    small: int = SMALL,
) -> np.ndarray:
    """Every cell to withhold.

    Shapes   equations: as equations_of gives them; sensitive, out: (cells,) of bool; sensitive is within out.
             presence: which rows are there, all of them unless given. small: how large a piece, in classes times
             sensitive ones, is still decided exactly.
    Every sensitive cell in need of room (need.py) has it then, whatever a reader adds up. Pieces are worked on side by
    side, and the same input gives the same output whatever the number of cores.
    """
    presence = Presence.of(cells) if presence is None else presence
    losses = Losses.of(cells, equations, presence.hidden)
    need = needed_width(cells, sensitive, minimum_count)
    itself = with_company(sensitive, losses) | losses.hidden
    by_sums = with_complements(cells, equations, sensitive, minimum_count, losses)

    def decided(piece: Piece) -> np.ndarray:
        least = np.isin(piece.classes, losses.twins[itself])
        exact = _cheapest(piece, least) if piece.count.size * (piece.need > 0).sum() <= small else None
        if exact is None:
            return with_room(piece, np.isin(piece.classes, losses.twins[by_sums | losses.hidden]))
        return exact

    pieces = list(pieces_of(cells, equations, losses, need, presence))
    with ThreadPoolExecutor(os.cpu_count()) as side_by_side:
        outcome = list(side_by_side.map(decided, pieces))
    withheld = by_sums.copy()
    for piece, gone in zip(pieces, outcome, strict=True):
        here = np.isin(losses.twins, piece.classes)
        withheld[here] = np.isin(losses.twins[here], piece.classes[gone])
    withheld = with_company(
        withheld & (~losses.hidden | sensitive), losses
    )  # what hides is for the sums to say
    return with_complements(cells, equations, withheld, minimum_count, losses, is_proven=True)


def _cheapest(piece: Piece, withheld: np.ndarray) -> np.ndarray | None:
    """The cheapest classes to withhold, among them those given; None where the search does not end."""
    try:
        return optimal_suppression(
            piece.count,
            withheld,
            piece.equation,
            piece.position,
            piece.is_total,
            width=piece.need,
            cost=piece.price,
            lowest=piece.lowest,
            part_of=piece.part_of,
            goes_with=piece.goes_with,
        )
    except ValueError:
        return None
