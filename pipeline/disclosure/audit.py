"""The proof of a release: for each sensitive count, how closely could a reader of the published files place it?

The audit reads the published tables themselves, not the suppressor's opinion of them: a count is known when any
file shows it. It shares cells and equations with the suppressor, which are the facts of the release, and no rule
and no step of it.

A count is protected when two tables that both fit everything published put it as far apart as its group is large,
or half of minimum_count where that is less. It is first tried to find such tables many counts at a time, which
proves most of them; each of the others gets its own two linear programmes, the least and the greatest value it
could have. A release is sound when every sensitive count is protected.

What this assumes of a reader: that they know every equation in equations.py, that a group which has rows has at
least one person, and that a count is not negative. What it does not: knowledge of single people, earlier releases,
and that counts are whole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.disclosure.cells import FILES, KEY, Cells, cells_of
from pipeline.disclosure.equations import equations_of
from pipeline.disclosure.examples import widen_by_examples
from pipeline.disclosure.inference import Unknown, unknown_cells
from pipeline.programme import Disclosure

SHOWN_BESIDE = {  # figures that would give back the count beside them
    "prevalence": ("proportion", "low", "high"),
    "percentile": ("value", "low", "high"),
    "data_quality": ("proportion",),
}


@dataclass(frozen=True)
class Audit:
    """What was found.

    cells     one row a sensitive count: what it counts, count, verdict, and low and high.
              verdict   shown: it stands in the files. figure: a figure beside it gives it back.
                        given_away: low to high is all it can be, and that is too close. protected: it can be low,
                        and it can be high, and perhaps more. unproven: nobody looked; the limit on programmes was
                        reached.
    programmes  how many counts needed linear programmes of their own.
    """

    cells: pl.DataFrame
    programmes: int

    @property
    def breaches(self) -> pl.DataFrame:
        return self.cells.filter(pl.col("verdict") != "protected")

    @property
    def is_sound(self) -> bool:
        return self.breaches.is_empty()


def audit(
    truth: dict[str, pl.DataFrame],
    published: dict[str, pl.DataFrame],
    rules: Disclosure,
    *,
    most_programmes: int | None = None,
) -> Audit:
    """Prove or refute that no sensitive count of `truth` follows from `published`.

    Shapes   both: the tables of disclosure.protect, row by row the same.
    Errors   ValueError when a published count differs from the true one, or rows do not correspond.
    `most_programmes` limits the counts that get linear programmes of their own; beyond it they are `unproven`,
    which does not count as sound.
    """
    cells = cells_of(truth)
    is_known, is_beside = _seen(cells, truth, published)
    sensitive = _sensitive(cells, rules.minimum_count)
    frame = cells.frame
    count = frame["count"].to_numpy()
    equations = equations_of(cells)
    is_people = (frame["kind"] == "people").to_numpy()
    unknown = unknown_cells(
        count,
        is_known,
        equations["equation"].to_numpy(),
        equations["cell"].to_numpy(),
        equations["is_total"].to_numpy(),
        lowest=is_people.astype(float),
        part_of=np.where(is_people, frame["parent"].to_numpy(), np.arange(frame.height)),
    )
    low, high, verdict, programmes = _bounded(
        unknown,
        sensitive,
        frame["site"].to_numpy(),
        _needed_width(frame, rules.minimum_count),
        most_programmes,
    )
    verdict = np.where(is_beside & ~is_known, "figure", np.where(is_known, "shown", verdict))
    found = frame.select(*KEY, "count").with_columns(
        low=np.where(is_known, count, low),
        high=np.where(is_known, count, high),
        verdict=pl.Series(verdict, dtype=pl.String),
    )
    return Audit(found.filter(sensitive), programmes)


def _seen(
    cells: Cells, truth: dict[str, pl.DataFrame], published: dict[str, pl.DataFrame]
) -> tuple[np.ndarray, np.ndarray]:
    """(count stands in some file, a figure that gives it back does)."""
    is_known, is_beside = np.zeros(cells.frame.height, dtype=bool), np.zeros(cells.frame.height, dtype=bool)
    for name, places in cells.places.items():
        shown, true = published[name], truth[name]
        if shown.height != true.height:
            raise ValueError(
                f"table {name}: {shown.height} rows published of {true.height}; the audit needs both, "
                "row by row"
            )
        for column in places.columns:
            wrong = shown[column].is_not_null() & (shown[column] != true[column])
            if wrong.any():
                raise ValueError(
                    f"table {name}, column {column}: a published count differs from the true one "
                    f"in {true.filter(wrong).row(0, named=True)}"
                )
            is_known[places[column].filter(shown[column].is_not_null()).to_numpy()] = True
        beside = pl.any_horizontal(pl.col(column).is_not_null() for column in SHOWN_BESIDE.get(name, ("n",)))
        left = shown.select(left=beside & pl.col("n").is_null())["left"]
        is_beside[places["n"].filter(left).to_numpy()] = True
    return is_known, is_beside


def _sensitive(cells: Cells, minimum: int) -> np.ndarray:
    """Counts that a reader must not learn: a few people or rows, and all but a few, of a group that is large enough."""
    frame = cells.frame.with_columns(whole=pl.col("count").gather("parent"))
    few = pl.col("count").is_between(1, minimum - 1) & ~pl.col("family").is_in(FILES)
    rest = (pl.col("whole") - pl.col("count")).is_between(0, minimum - 1)
    all_but_few = (pl.col("kind") == "band") & (pl.col("count") > 0) & rest & (pl.col("whole") >= minimum)
    return frame.select(few | all_but_few).to_series().to_numpy()


def _needed_width(frame: pl.DataFrame, minimum: int) -> np.ndarray:
    """How far apart the least and greatest value of a cell must be: as far as its group is large, up to minimum / 2.

    Rows are not people: of them it is enough that the count does not follow.
    """
    whole = (
        pl.when(pl.col("kind") == "band").then(pl.col("count").gather("parent")).otherwise(pl.col("count"))
    )
    least = pl.when(pl.col("kind") == "rows").then(1.0).otherwise(pl.min_horizontal(whole, minimum / 2))
    return frame.select(least.cast(pl.Float64)).to_series().to_numpy()


def _bounded(
    unknown: Unknown, sensitive: np.ndarray, site: np.ndarray, width: np.ndarray, most_programmes: int | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray, int]:
    """low, high and verdict of every cell, (cells,) each; only those of sensitive unknown cells mean anything."""
    low, high = np.full(width.size, np.nan), np.full(width.size, np.nan)
    verdict = np.full(width.size, "protected", dtype=object)
    programmes = 0
    for part in unknown.parts():
        wanted = sensitive[part.cell]
        if not wanted.any():
            continue
        apart = width[part.cell]
        reached = widen_by_examples(part, wanted, site[part.cell], apart)
        for position in np.flatnonzero(wanted & ~reached.is_wide(apart)):
            if most_programmes is not None and programmes >= most_programmes:
                verdict[part.cell[position]] = "unproven"
                continue
            programmes += 1
            reached.low[position], reached.high[position] = part.interval(int(position))
            if not reached.is_wide(apart)[position]:
                verdict[part.cell[position]] = "given_away"
        low[part.cell], high[part.cell] = reached.low, reached.high
    return low, high, verdict, programmes
