"""Two versions of one period as one table: every count of both, the sums that hold in both, and what changes tell."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl
from scipy import sparse
from scipy.sparse.linalg import splu

from pipeline.disclosure.cells import FILES, KEY, Cells, cells_of
from pipeline.disclosure.equations import equations_of

Tables = dict[str, pl.DataFrame]
COUNTED = ("prevalence", "percentile", "data_quality")
_GRAIN = 1e-8
_BIG = 1_000_000_007  # before + _BIG * after: a sum holds of it where it holds of both


@dataclass(frozen=True)
class VersionPair:
    """Every count of two versions, and the sums that hold in both.

    frame             KEY, cell, before, after (null: withheld or not there), site_is_new
    sums              (equations, cells): -1 for the total, 1 for its parts
    is_sum_of_parts   (equations,): a true sum; not two counts that turn out to be as many
    """

    frame: pl.DataFrame
    sums: sparse.csr_matrix
    is_sum_of_parts: np.ndarray

    @classmethod
    def of(cls, earlier: Tables, new: Tables) -> VersionPair:
        one, other = (
            cells_of({name: tables[name] for name in COUNTED if name in tables}).frame.select(*KEY, "count")
            for tables in (earlier, new)
        )
        known_sites = one["site"].unique().to_list()
        frame = (
            one.rename({"count": "before"})
            .join(other.rename({"count": "after"}), on=KEY, how="full", coalesce=True)
            .sort(KEY)
            .with_row_index("cell")
            .with_columns(site_is_new=~pl.col("site").is_in(known_sites))
            # a site that had no row at all had nobody
            .with_columns(before=pl.when("site_is_new").then(pl.lit(0)).otherwise("before"))
        )
        both = frame.with_columns(count=pl.col("before") + _BIG * pl.col("after"))
        equations = equations_of(Cells(both, {}))
        sign = np.where(equations["is_total"].to_numpy(), -1.0, 1.0)
        n_equations = (equations["equation"].max() or 0) + 1 if equations.height else 0
        sums = sparse.csr_matrix(
            (sign, (equations["equation"].to_numpy(), equations["cell"].to_numpy())),
            shape=(n_equations, frame.height),
        )
        is_twin = np.zeros(n_equations, dtype=bool)
        is_twin[equations.filter(kind="twin")["equation"].to_numpy()] = True
        return cls(frame, sums, ~is_twin)

    @property
    def change(self) -> np.ndarray:
        """After less before; 0 where either is not shown."""
        return (
            self.frame.select((pl.col("after") - pl.col("before")).fill_null(0)).to_series().to_numpy().copy()
        )

    @property
    def may_change(self) -> np.ndarray:
        """Counts that both versions show: only of these can the new figure take the earlier one's place."""
        return (
            self.frame.select(pl.col("before").is_not_null() & pl.col("after").is_not_null())
            .to_series()
            .to_numpy()
        )

    @property
    def is_guarded(self) -> np.ndarray:
        """A file is nobody."""
        return ~self.frame["family"].is_in(FILES).to_numpy()

    # ---- what a set of shown changes tells ------------------------------------------------------------------

    def exposed(self, change: np.ndarray, minimum_count: int) -> pl.DataFrame:
        why = np.full(self.frame.height, "", dtype=object)
        why[self._uncovered()] = "withheld now"
        why[self._bared()] = "shown now"
        why[self._in_one_band(change, minimum_count)] = "one band"
        why[self._follows(change, minimum_count)] = "follows"
        for equation in np.flatnonzero(self._is_small(self.sums @ change, minimum_count)):
            cells = self.sums.indices[self.sums.indptr[equation] : self.sums.indptr[equation + 1]]
            why[[cell for cell in cells if change[cell] and not why[cell]]] = "rest"
        why[self._is_small(change, minimum_count) & self.is_guarded] = "small change"
        return (
            self.frame.select(*KEY)
            .with_columns(why=pl.Series(why, dtype=pl.String))
            .filter(pl.col("why") != "")
        )

    def to_keep(self, change: np.ndarray, minimum_count: int) -> np.ndarray:
        """Changes to hide so that the others tell of nobody; some more may be needed after these."""
        hidden = self._is_small(change, minimum_count) & self.is_guarded
        hidden |= self._in_one_band(change, minimum_count) & (change != 0)
        if hidden.any():
            return self._with_bands_between(hidden)
        rest = self.sums @ change
        for equation in np.flatnonzero(self._is_small(rest, minimum_count)):
            cells = self.sums.indices[self.sums.indptr[equation] : self.sums.indptr[equation + 1]]
            told = cells[(change[cells] != 0) & ~hidden[cells]]
            if told.size:
                hidden[told[np.argmin(np.abs(change[told]))]] = True
        if hidden.any():
            return self._with_bands_between(hidden)
        for cell in np.flatnonzero(self._follows(change, minimum_count)):
            hidden[self._nearest_told(cell, change)] = True
        return hidden

    def _nearest_told(self, cell: int, change: np.ndarray) -> int:
        """The smallest of the shown changes that stand fewest sums away from a count."""
        reached = np.zeros(change.size, dtype=bool)
        reached[cell] = True
        while not (reached & (change != 0)).any():
            further = reached | (self._touches.T @ (self._touches @ reached))
            if np.array_equal(further, reached):
                reached = np.ones(change.size, dtype=bool)
                break
            reached = further
        told = np.flatnonzero(reached & (change != 0))
        return int(told[np.argmin(np.abs(change[told]))])

    @cached_property
    def _touches(self) -> sparse.csr_matrix:
        return abs(self.sums).astype(bool)

    def _is_small(self, change: np.ndarray, minimum_count: int) -> np.ndarray:
        size = np.abs(change)
        return (size >= 1) & (size < minimum_count)

    def _in_one_band(self, change: np.ndarray, minimum_count: int) -> np.ndarray:
        """Bands that take nearly all of their group's change."""
        group = ["family", "site", "period", "sex", "age_from", "age_to"]
        changed = self.frame.with_columns(change=pl.Series(change))
        people = changed.filter(pl.col("kind") == "people").select(*group, whole="change")
        joined = changed.join(people, on=group, how="left", maintain_order="left")
        outside = (pl.col("whole") - pl.col("change")).abs()
        return (
            joined.select(
                ((pl.col("kind") == "band") & (pl.col("change") != 0) & (pl.col("whole") != 0))
                & (outside < minimum_count)
            )
            .to_series()
            .fill_null(False)
            .to_numpy()
        )

    def _uncovered(self) -> np.ndarray:
        return (
            self.frame.select(
                (pl.col("kind") != "between")
                & pl.col("before").is_not_null()
                & pl.col("after").is_null()
                & ~pl.col("site_is_new")
            )
            .to_series()
            .to_numpy()
        )

    def _bared(self) -> np.ndarray:
        return (
            self.frame.select(
                (pl.col("kind") != "between") & pl.col("before").is_null() & pl.col("after").is_not_null()
            )
            .to_series()
            .to_numpy()
        )

    def _follows(self, change: np.ndarray, minimum_count: int) -> np.ndarray:
        """Counts of which the sums leave one change possible, and that one is small.

        A count that did not change on paper may have: its change is unknown. It is determined when no vector of the
        null space of the sums touches it.
        """
        told = change != 0
        touched = np.zeros(change.size, dtype=bool)
        unknown = np.flatnonzero(~told & self.is_guarded)
        if not told.any() or not unknown.size:
            return touched
        known = -(self.sums @ np.where(told, change, 0)).astype(float)
        for sums in (np.ones_like(self.is_sum_of_parts), self.is_sum_of_parts):
            matrix = self.sums[sums][:, unknown].tocsr()
            value, is_free, is_consistent = _solved(matrix, known[sums])
            if is_consistent:
                break  # else two counts were taken for one because they are as many, and are not
        whole = np.round(value)
        small = (np.abs(value - whole) < 1e-3) & (np.abs(whole) >= 1) & (np.abs(whole) < minimum_count)
        touched[unknown[~is_free & small]] = True
        return touched

    def _with_bands_between(self, hidden: np.ndarray) -> np.ndarray:
        """A change between two bandings' edges is hidden by the bands that it is the difference of."""
        group = ["site", "period", "sex", "age_from", "age_to"]
        places = self.frame.filter(pl.Series(hidden) & (pl.col("kind") == "between")).select(group).unique()
        if places.is_empty():
            return hidden
        bands = self.frame.join(places, on=group, how="semi").filter(
            pl.col("family").is_in(["banding bmi_adult", "banding bmi_adult_asian"])
        )
        grown = hidden.copy()
        grown[bands["cell"].to_numpy()] = True
        return grown

    # ---- one version's cells in another pair's -------------------------------------------------------------

    def whole_groups(self, kept: np.ndarray) -> np.ndarray:
        """The other bands of every group of which one band is kept: a group's bands are shown of one version.

        The two bandings of adults' BMI cut the same people, and count as one.
        """
        group = ["family", "site", "period", "sex", "age_from", "age_to"]
        bands = self.frame.with_columns(
            pl.col("family").replace("banding bmi_adult_asian", "banding bmi_adult")
        ).filter(pl.col("kind") == "band")
        places = bands.filter(pl.Series(kept).gather(bands["cell"])).select(group).unique()
        grown = kept.copy()
        grown[bands.join(places, on=group, how="semi")["cell"].to_numpy()] = True
        return grown

    def change_where(self, last: VersionPair, shown: np.ndarray) -> np.ndarray:
        """What this pair's earlier version and the version under way differ by, as far as both show it: the new figure
        where the last pair shows it, else the last version's."""
        way = last.frame.select(*KEY, told=pl.Series(shown != 0), last="before")
        joined = self.frame.join(way, on=KEY, how="left", maintain_order="left")
        figure = pl.when(pl.col("told").fill_null(False)).then("after").otherwise("last")
        return joined.select((figure - pl.col("before")).fill_null(0)).to_series().to_numpy()

    def placed(self, other: VersionPair, marks: np.ndarray) -> np.ndarray:
        """Another pair's marks on the cells of this one."""
        marked = other.frame.select(*KEY).with_columns(mark=pl.Series(marks))
        joined = self.frame.join(marked, on=KEY, how="left", maintain_order="left")["mark"].fill_null(False)
        return joined.to_numpy()


def _solved(matrix: sparse.csr_matrix, known: np.ndarray) -> tuple[np.ndarray, np.ndarray, bool]:
    """The unknowns of matrix @ unknowns = known: the shortest solution, which of them are free, whether one exists.

    Shapes   matrix: (equations, unknowns); out: (unknowns,), (unknowns,) of bool.
    A random vector is projected on the null space by the same factors: what is determined comes out as nothing. The
    sums may depend on each other, so a grain on the diagonal keeps the factors finite; whole numbers stand far above.
    """
    rows = np.flatnonzero(matrix.getnnz(axis=1))
    matrix, known = matrix[rows], known[rows]
    # symmetric and positive: no pivots, and an order of its own that takes the rows of all sites last, or they fill
    # the factors (at 60 sites fifteen times as slow, at 200 for ever)
    factors = splu(
        (matrix @ matrix.T + _GRAIN * sparse.identity(rows.size)).tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    value = matrix.T @ factors.solve(known)
    value += matrix.T @ factors.solve(known - matrix @ value)  # one step of refinement
    vector = np.random.default_rng(20250101).uniform(0.5, 1.5, matrix.shape[1])
    free = vector - matrix.T @ factors.solve(matrix @ vector)
    free -= matrix.T @ factors.solve(matrix @ free)
    is_consistent = bool(np.all(np.abs(matrix @ value - known) < 1e-3))
    return value, np.abs(free) > 1e-4, is_consistent
