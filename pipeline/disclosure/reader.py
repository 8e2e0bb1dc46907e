"""What a reader of the release has to solve, in independent pieces: each period's people, and the rows received.

Cells that are one count in several tables are one unknown here, a class, and an equation that comes to the same as
another is left out: of the demo's 176,000 cells 82,000 unknowns and of 275,000 equations some 75,000 are left.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy.sparse import csr_array, vstack

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.inference import Unknown, unknown_cells
from pipeline.disclosure.losses import Losses
from pipeline.disclosure.presence import Presence

PEOPLE = "people"


@dataclass(frozen=True)
class Piece:
    """Classes of twins and the equations between them.

    Shapes   (classes,), but equation, position and is_total: (entries,), an entry a class of an equation. classes are
             numbers as in Losses.twins; part_of, goes_with and position are places among them.
    Units    people, or rows; need: the width to keep; price: what withholding the class costs.
    """

    classes: np.ndarray
    count: np.ndarray
    need: np.ndarray
    lowest: np.ndarray
    price: np.ndarray
    part_of: np.ndarray  # the class than which it is no greater, itself if none
    goes_with: np.ndarray  # the class with which it is withheld, itself if none
    banding: np.ndarray  # "" for people
    site: np.ndarray
    is_headline: np.ndarray
    is_main: np.ndarray  # of the commonest band of its banding
    equation: np.ndarray
    position: np.ndarray
    is_total: np.ndarray

    def unknown(self, withheld: np.ndarray, heeded: Heeded | None = None) -> Unknown:
        """What is left to solve when these classes, (classes,) of bool, are not published."""
        unknown = unknown_cells(
            self.count,
            ~withheld,
            self.equation,
            self.position,
            self.is_total,
            part_of=self.part_of,
            lowest=self.lowest,
        )
        return unknown if heeded is None else heeded.added_to(unknown)


@dataclass(frozen=True)
class Heeded:
    """Sums of counts that are known to lie between ends, besides the equations.

    Shapes   sums: (sums, classes); fall, rise: (sums,), how far each may go from its true value; infinite: any way.
    """

    sums: csr_array
    fall: np.ndarray
    rise: np.ndarray

    def added_to(self, unknown: Unknown) -> Unknown:
        sums = self.sums[:, unknown.cell]
        is_open = np.diff(sums.indptr) > 0
        above, under = (np.flatnonzero(is_open & np.isfinite(end)) for end in (self.rise, self.fall))
        truth = sums @ unknown.truth
        return replace(
            unknown,
            order=csr_array(vstack([unknown.order, sums[above], -sums[under]])),
            bound=np.concatenate(
                [unknown.bound, (truth + self.rise)[above], (self.fall - truth)[under]]
            ),
        )


def pieces_of(
    cells: Cells, equations: pl.DataFrame, losses: Losses, need: np.ndarray, presence: Presence
) -> Iterator[Piece]:
    """The pieces in which some count has a need, in order of their periods; rows come first.

    Shapes   equations: as equations_of gives them; need: (cells,).
    """
    itself = np.arange(cells.frame.height)
    frame = cells.frame.select(
        "cell",
        "count",
        need=pl.Series(need),
        lowest=pl.Series(presence.is_there).cast(pl.Float64),
        price=pl.Series(losses.price),
        whole=pl.Series(losses.twins[_wholes(cells)]),
        parent=pl.Series(losses.twins[np.where(losses.hidden[losses.parent], itself, losses.parent)]),
        number=pl.Series(losses.twins),
        place=pl.when(pl.col("kind") == "rows").then(pl.lit("")).otherwise(pl.col("period")),
        banding=pl.when(pl.col("kind") == PEOPLE).then(pl.lit("")).otherwise(pl.col("family")),
        site="site",
        band="band",
        is_headline=pl.Series(losses.is_headline),
    )
    sums = equations.filter(pl.col("kind") != "twin").join(
        frame.select("cell", "place", "number"), on="cell", how="left", maintain_order="left"
    )
    entries = dict(sums.partition_by("place", as_dict=True, maintain_order=True).items())
    for (place,), members in sorted(frame.partition_by("place", as_dict=True, maintain_order=True).items()):
        if members["need"].max() > 0 and (place,) in entries:
            yield _piece(members, entries[place,])


def _piece(members: pl.DataFrame, entries: pl.DataFrame) -> Piece:
    classes = (
        members.group_by("number")
        .agg(
            pl.col("count", "banding", "site", "band", "whole", "parent").first(),
            pl.col("need", "lowest", "price", "is_headline").max(),
        )
        .sort("number")
        .with_row_index("position")
    )
    at = classes.select("number", "position")
    whole, parent = (
        classes.select(number=name).join(at, on="number", how="left", maintain_order="left")["position"]
        for name in ("whole", "parent")
    )
    people = pl.col("count").sum().over("banding", "band")
    is_main = classes.select((pl.col("banding") != "") & (people == people.max().over("banding"))).to_series()
    placed = _distinct(
        entries.join(at, on="number", how="left", maintain_order="left").select(
            "equation", "position", "is_total"
        )
    )
    return Piece(
        *(classes[name].to_numpy() for name in ("number", "count", "need", "lowest", "price")),
        whole.to_numpy().astype(np.int64),
        parent.to_numpy().astype(np.int64),
        *(classes[name].to_numpy().astype(str) for name in ("banding", "site")),
        classes["is_headline"].to_numpy(),
        is_main.to_numpy(),
        *(placed[name].to_numpy() for name in ("equation", "position", "is_total")),
    )


def _wholes(cells: Cells) -> np.ndarray:
    """The cell that each is a part of, itself if none: nobody has a measure who was not measured at all, and a reason
    is counted once a row."""
    frame = cells.frame
    severity = {"hold": "rows_held", "set_aside": "set aside"}
    place = ["site", "period"]
    rows = frame.filter(kind="rows")
    totals = rows.filter(pl.col("family").is_in(list(severity.values()))).select(
        *place, total="family", of="cell"
    )
    reasons = (
        rows.filter(pl.col("band").is_in(list(severity)))
        .with_columns(total=pl.col("band").replace_strict(severity))
        .join(totals, on=[*place, "total"])
        .select("cell", "of")
    )
    is_people = (frame["kind"] == PEOPLE).to_numpy()
    whole = np.where(is_people, frame["parent"].to_numpy(), np.arange(frame.height))
    whole[reasons["cell"].to_numpy()] = reasons["of"].to_numpy()
    return whole


def _distinct(entries: pl.DataFrame) -> pl.DataFrame:
    """The entries of one of each set of equations with the same total and parts."""
    content = entries.group_by("equation", maintain_order=True).agg(
        total=pl.col("position").filter("is_total").first(),
        parts=pl.col("position").filter(~pl.col("is_total")).sort(),
    )
    kept = content.unique(["total", "parts"], keep="first", maintain_order=True)["equation"]
    return entries.filter(pl.col("equation").is_in(kept.implode()))
