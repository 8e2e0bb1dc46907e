"""The whole of it: sensitive cells → every cell to withhold.

    1  what single sums give away (complementary.py): fast, and right for nearly every count;
    2  what all sums together give away, with a proof for every count (proof.py), each period by itself. Of a piece that
       is small enough the cheapest set is found exactly instead (optimum.py), from the sensitive cells on;
    3  single sums once more, for what the second step decided: what follows all the same is published, and withheld
       parts that are a small count together get more;
    4  what percentiles say besides (beside_percentiles.py): the statements that would narrow a count too far go.

The third step publishes only what a reader has anyway, or withholds more, which leaves every proof of the second as it
is; so does the fourth.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import polars as pl
from scipy.sparse import csr_array

from pipeline.disclosure.beside_percentiles import room_beside
from pipeline.disclosure.cells import Cells
from pipeline.disclosure.complementary import Complements, with_complements, without_followers
from pipeline.disclosure.losses import Losses, with_company
from pipeline.disclosure.need import needed_width
from pipeline.disclosure.optimum import optimal_suppression
from pipeline.disclosure.percentile_evidence import Evidence
from pipeline.disclosure.presence import Presence
from pipeline.disclosure.proof import with_room, without_needless
from pipeline.disclosure.reader import Piece, pieces_of
from pipeline.disclosure.remembered import Memory, remembered
from pipeline.disclosure.widening import Widening

SMALL = 600  # classes times sensitive ones for which the optimum is a matter of seconds
SHORT = 40_000  # classes times those withheld besides for which each of these is tried without


def suppressed(
    cells: Cells,
    equations: pl.DataFrame,
    sensitive: np.ndarray,
    minimum_count: int,
    presence: Presence | None = None,
    evidence: Evidence | None = None,
    *,
    small: int = SMALL,
    memory: Memory | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Every cell to withhold, and every statement of a percentile.

    Shapes   equations: as equations_of gives them; sensitive: (cells,) of bool, within the first result; out: (cells,)
             and (statements,) of bool. presence: which rows are there, all of them unless given. evidence: what
             percentiles say of bands; they say nothing unless given. small: how large a piece, in classes times
             sensitive ones, is still decided exactly. memory: where decisions on pieces are looked up and kept.
    Every sensitive cell in need of room (need.py) has it then, whatever a reader adds up and whichever percentiles they
    read. Pieces are worked on side by side, and the same input gives the same output whatever the number of cores.
    """
    presence = Presence.of(cells) if presence is None else presence
    losses = Losses.of(cells, equations, presence.hidden)
    need = needed_width(cells, sensitive, minimum_count)
    itself = with_company(sensitive, losses) | losses.hidden
    by_sums = with_complements(cells, equations, sensitive, minimum_count, losses)

    def decided(piece: Piece) -> np.ndarray:
        least = np.isin(piece.classes, losses.twins[itself])
        mended = np.isin(piece.classes, losses.twins[by_sums | losses.hidden])
        (gone,) = remembered(
            memory, piece, (least, mended, np.array(small)), lambda: (_decided(piece, least, mended, small),)
        )
        return gone

    def settled(withheld: np.ndarray) -> np.ndarray:
        # what hides is for the sums to say
        withheld = with_company(withheld & (~losses.hidden | sensitive), losses)
        withheld = without_followers(equations, sensitive, withheld, losses)
        mended = with_complements(cells, equations, withheld, minimum_count, losses, is_proven=True)
        if np.array_equal(without_followers(equations, sensitive, mended, losses), mended):
            return mended
        return with_complements(cells, equations, mended, minimum_count, losses)  # what mends must not follow itself

    pieces = list(pieces_of(cells, equations, losses, need, presence))
    outcome = _side_by_side(decided, pieces)
    withheld = settled(_put_together(by_sums, losses, pieces, outcome))
    if evidence is None or not evidence.slack.size:
        return withheld, np.zeros(0 if evidence is None else evidence.slack.size, dtype=bool)
    below, members = (_by_class(one, losses.twins) for one in (evidence.below, evidence.members))
    fall, rise = evidence.tightest()

    def beside(piece: Piece) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        gone = np.isin(piece.classes, losses.twins[withheld | losses.hidden])
        own = np.flatnonzero(np.diff(members[:, piece.classes].indptr))
        about = (below[own][:, piece.classes], members[own][:, piece.classes], fall[own], rise[own])
        gone, *moved = remembered(memory, piece, (gone, *about), lambda: room_beside(piece, gone, *about))
        fallen, risen = np.zeros((2, members.shape[0]))
        fallen[own], risen[own] = moved
        return gone, fallen, risen

    found = _side_by_side(beside, pieces)
    withheld = settled(_put_together(withheld, losses, pieces, [gone for gone, _, _ in found]))
    fallen, risen = (np.maximum.reduce([part[side] for part in found]) for side in (1, 2))
    return withheld, evidence.broken_by(fallen, risen)


def suppressed_by_rounds(
    cells: Cells, equations: pl.DataFrame, sensitive: np.ndarray, minimum_count: int, presence: Presence
) -> np.ndarray:
    """Every cell to withhold for a view that is not published: fast, and without a proof.

    Shapes   as suppressed. Single sums, and bounds found by going round all of them (widening.py), by turns until
    neither adds a cell. A few counts in a thousand can still be placed too closely by solving many sums at once.
    """
    losses = Losses.of(cells, equations, presence.hidden)
    complements = Complements.of(cells, equations, losses)
    widening = Widening.of(cells, equations, sensitive, minimum_count, losses)
    withheld = sensitive
    while True:
        mended = complements.of_what_is(withheld, minimum_count)
        withheld = widening.of_what_is(mended)
        if np.array_equal(withheld, mended):
            return withheld


def _decided(piece: Piece, least: np.ndarray, mended: np.ndarray, small: int) -> np.ndarray:
    """least: what is withheld for itself; mended: and for single sums. All (classes,) of bool."""
    exact = _cheapest(piece, least) if piece.count.size * (piece.need > 0).sum() <= small else None
    if exact is not None:
        return exact
    withheld = with_room(piece, mended)
    is_short = piece.count.size * (withheld & ~least).sum() <= SHORT
    return without_needless(piece, least, withheld) if is_short else withheld


def _side_by_side(work: Callable[[Piece], Any], pieces: list[Piece]) -> list[Any]:
    with ThreadPoolExecutor(os.cpu_count()) as workers:
        return list(workers.map(work, pieces))


def _put_together(
    before: np.ndarray, losses: Losses, pieces: list[Piece], outcome: list[np.ndarray]
) -> np.ndarray:
    """Decisions on the classes of each piece as one on all cells; what is in no piece stays as before."""
    withheld = before.copy()
    for piece, gone in zip(pieces, outcome, strict=True):
        here = np.isin(losses.twins, piece.classes)
        withheld[here] = np.isin(losses.twins[here], piece.classes[gone])
    return withheld


def _by_class(below: csr_array, twins: np.ndarray) -> csr_array:
    """(edges, cells) → (edges, classes)."""
    entries = below.tocoo()
    shape = (below.shape[0], int(twins.max()) + 1)
    return csr_array((entries.data, (entries.row, twins[entries.col])), shape=shape)


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
