"""Everything a release says of counts of people, as rows over the atoms: low <= sum of atoms <= high.

shown     a count stands in some file, or a figure beside an empty count gives it back: low = high
present   a group has rows, hence at least one person
absent    a group has no rows in a table that leaves out only empty groups: nobody
same      a banding or measure places everybody of another, sex by sex and age by age, at a site in a period
part      nobody has a measure who was not measured
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.sparse import csr_array, vstack

from pipeline.audit.atoms import SEXES, Atoms
from pipeline.audit.shown_counts import EVERYONE, KEY
from pipeline.measures import BANDINGS

GROUPED = "prevalence"  # the table that has rows for every group with somebody in it


@dataclass(frozen=True)
class Rows:
    """low <= sums @ atoms <= high. Shapes  sums: (rows, atoms); low, high: (rows,)."""

    sums: csr_array
    low: np.ndarray
    high: np.ndarray

    @staticmethod
    def stacked(parts: list[Rows]) -> Rows:
        return Rows(
            vstack([part.sums for part in parts], format="csr"),
            np.concatenate([part.low for part in parts]),
            np.concatenate([part.high for part in parts]),
        )


def known_counts(shown: pl.DataFrame, true: pl.DataFrame, rounded_by: float = 0) -> pl.DataFrame:
    """The counts that some file gives: KEY, n, table, is_figure (only by a figure beside it).

    Shapes   shown: of shown_counts of the published tables; true: KEY, n, of the results.
             A count that was rounded by at most `rounded_by` is taken for the true one: rounding tells a reader less,
             and the proof does not lean on it.
    Errors   ValueError when a published count is not the true one.
    """
    found = (
        shown.filter(pl.col("n").is_not_null() | pl.col("is_beside"))
        .group_by(KEY, maintain_order=True)
        .agg(
            pl.col("table").first(),
            least=pl.col("n").min(),
            most=pl.col("n").max(),
            is_figure=pl.col("n").is_null().all(),
        )
        .join(true.select(*KEY, true="n"), on=KEY, how="left")
    )
    is_wrong = ((pl.col("true") - pl.col("least")).abs() > rounded_by) | (
        (pl.col("true") - pl.col("most")).abs() > rounded_by
    )
    wrong = found.filter(is_wrong.fill_null(False))
    if wrong.height:
        where = wrong.select("table", *KEY).row(0, named=True)
        raise ValueError(f"a published count is not the true one: {where}")
    return found.select(*KEY, "table", "is_figure", n=pl.coalesce("true", "most")).drop_nulls("n")


def people_known(atoms: Atoms, known: pl.DataFrame, shown: pl.DataFrame, true: pl.DataFrame) -> Rows:
    """All rows that follow from which counts are shown, and which groups have rows at all."""
    present = _present(shown, true).join(known, on=KEY, how="anti")
    absent = _absent(atoms, shown, true).join(known, on=KEY, how="anti")
    value = known["n"].to_numpy().astype(float)
    present_sums = _without_implied(atoms.sums(present))
    parts = [
        Rows(atoms.sums(known.select(KEY)), value, value),
        Rows(present_sums, np.ones(present_sums.shape[0]), np.full(present_sums.shape[0], np.inf)),
        Rows(atoms.sums(absent), np.zeros(absent.height), np.zeros(absent.height)),
        *_same_people(atoms),
    ]
    return Rows.stacked(parts)


def _present(shown: pl.DataFrame, true: pl.DataFrame) -> pl.DataFrame:
    groups = shown.filter(kind="people").select(KEY).unique(maintain_order=True)
    return groups.join(true.filter(pl.col("n") >= 1), on=KEY, how="semi", maintain_order="left")


def _without_implied(sums: csr_array) -> csr_array:
    """The sums that must be 1 or more, less those that hold all the atoms of a smaller one.

    Groups are nested or apart, so a sum that holds the first atom of a smaller one holds all of it.
    """
    size = np.diff(sums.indptr)
    kept, covered = [], np.zeros(sums.shape[1], dtype=bool)
    for row in np.argsort(size, kind="stable"):
        held = sums.indices[sums.indptr[row] : sums.indptr[row + 1]]
        if held.size and not covered[held].any():
            covered[held.min()] = True
            kept.append(row)
    return sums[np.sort(np.array(kept, dtype=int))]


def _absent(atoms: Atoms, shown: pl.DataFrame, true: pl.DataFrame) -> pl.DataFrame:
    """Groups of bandings without rows: of a site only where no group with people lacks them, since otherwise absence
    means nobody or withheld."""
    rows = shown.filter((pl.col("table") == GROUPED) & (pl.col("kind") == "people"))
    there = rows.select(KEY).unique()
    left_out = true.filter(
        (pl.col("kind") == "people") & pl.col("family").is_in(list(BANDINGS)) & (pl.col("n") > 0)
    )
    left_out = left_out.join(there, on=KEY, how="anti")
    sites = [""] if left_out.height else ["", *atoms.sites]
    every = (
        there.select("kind", "family", "band", "age_from", "age_to")
        .unique(maintain_order=True)
        .join(pl.DataFrame({"site": sites}), how="cross")
        .join(pl.DataFrame({"period": atoms.periods}), how="cross")
        .join(there.select("family", "sex").unique(), on="family")
        .select(KEY)
    )
    missing = every.join(there, on=KEY, how="anti").join(left_out, on=KEY, how="anti")
    return missing.filter(pl.col("site").is_in(list(set(there["site"]) | {""}))).sort(KEY)


def _same_people(atoms: Atoms) -> list[Rows]:
    """Bandings and measures that place as many people as another are joined to it; the others lie within everybody."""
    done, parts = set(), []
    per_place = len(SEXES) * len(atoms.ages)
    for number, family in enumerate(atoms.families):
        scale = atoms.scale_of.get(family)
        if scale is None or scale in done:
            continue
        done.add(scale)
        other = atoms.stands_for[number]
        for whose in np.unique(other):
            is_like = whose != number
            if is_like and family not in BANDINGS:
                continue  # its people have no atoms of their own there
            beside = atoms.families[whose] if is_like else EVERYONE
            if beside == family or beside not in atoms.scale_of:
                continue
            place = np.flatnonzero(other == whose)
            group = (place[:, None] * per_place + _columns(atoms, family)).ravel()
            sums = _differences(atoms, group, scale, atoms.scale_of[beside])
            parts.append(Rows(sums, np.full(group.size, 0.0 if is_like else -np.inf), np.zeros(group.size)))
    return parts


def _columns(atoms: Atoms, family: str) -> np.ndarray:
    ages = np.array(atoms.reach[family])
    return (np.arange(len(SEXES))[:, None] * len(atoms.ages) + ages).ravel()


def _differences(atoms: Atoms, group: np.ndarray, scale: int, other: int) -> csr_array:
    """People of each group on one scale less those on the other, (groups, atoms)."""
    entries = []
    for sign, which in ((1.0, scale), (-1.0, other)):
        width = atoms.scales[which].pieces
        column = atoms.first[which] + group[:, None] * width + np.arange(width)
        row = np.broadcast_to(np.arange(group.size)[:, None], column.shape)
        entries.append((np.full(column.size, sign), row.ravel(), column.ravel()))
    data, row, column = (np.concatenate(part) for part in zip(*entries, strict=True))
    return csr_array((data, (row, column)), shape=(group.size, atoms.count))
