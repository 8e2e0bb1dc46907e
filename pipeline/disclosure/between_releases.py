"""The guard between releases: what two of them side by side would tell that neither tells alone.

Whoever has both subtracts one from the other. So two versions of one period are judged as if they stood in one table,
and the table of their differences is held to the rule that holds for counts:

    small change     a count that both show differs by 1 to m - 1 people, m being minimum_count
    one band         of a group that changed, fewer than m people changed outside one band: it then tells of all of
                     them where they are
    rest             the shown changes of a sum leave 1 to m - 1 for what did not change on paper
    follows          several sums put together leave 1 to m - 1 for one count
    shown now        a count that was withheld is shown: where it did not change, it takes the cover from its neighbours
    withheld now     a count that was shown is withheld: the earlier figure still tells it, and covers nothing

A restatement that would break this is not stuck. `with_earlier_figures` keeps the earlier figure wherever the change
may not be told, and more where a sum would tell it, and shows the new figure everywhere else. What is kept is not
marked: a mark would say that somebody changed there. It is then true of the whole version that a figure which did not
change on paper changed by nobody, by fewer than m people, or protects such a change.

What adds up over time, trends, is compared with every other release too: see `without_small_differences`. Smooth curves
count in multiples of m, so that their differences are such multiples.

Pure functions over published tables: no file, no store, no clock. Counts of people decide; figures beside them follow.
"""

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
OF_ONE_SITE = ("standardised_prevalence", "instrument_check")  # a site's rows rest on that site alone
_GRAIN = 1e-8
_BIG = 1_000_000_007  # before + _BIG * after: a sum holds of it where it holds of both


def exposures(earlier: Tables, new: Tables, minimum_count: int) -> pl.DataFrame:
    """The counts that two versions of one period would give away together.

    Shapes   earlier, new: published tables, those of COUNTED as far as they are there; out: KEY and why, one row a
             count, without any count.
    """
    pair = _Pair.of(earlier, new)
    return pair.exposed(pair.change, minimum_count)


def with_earlier_figures(
    earlier: list[Tables], new: Tables, minimum_count: int, keys: dict[str, tuple[str, ...]]
) -> Tables:
    """The new tables with the figures of the last earlier version wherever a change may not be told.

    Shapes   earlier: every version of the period, in order; new, out: the same tables; keys: table → the columns
             that tell its rows apart.
    The result has no exposure against any earlier version: at worst it is the last one again.
    """
    pairs = [_Pair.of(version, new) for version in earlier]
    last = pairs[-1]
    kept = np.zeros(last.frame.height, dtype=bool)
    while True:
        kept = _closed(last, pairs, kept, minimum_count)
        made = {
            name: _merged(name, earlier[-1].get(name), rows, last, kept, minimum_count, keys[name])
            for name, rows in new.items()
        }
        # A new count may stand in no row after all, because its group's bands are of the version before: it is then
        # kept like the others, and the sums are looked at once more.
        made_pairs = [_Pair.of(version, made) for version in earlier]
        shown = last.placed(made_pairs[-1], made_pairs[-1].change != 0)
        changed = (last.change != 0) & ~kept
        more = changed & ~shown
        if not more.any():
            # Counts of the two versions mixed may turn out to be as many where neither version's own do: sums that
            # could not be seen before the mixing.
            exposed = [pair for pair in made_pairs if pair.exposed(pair.change, minimum_count).height]
            if not exposed or not changed.any():
                return made  # at worst the last version again
            to_keep = [last.placed(pair, pair.to_keep(pair.change, minimum_count)) for pair in exposed]
            more = changed & np.any(to_keep, axis=0)
        kept = kept | (more if more.any() else changed)


def _closed(last: _Pair, pairs: list[_Pair], kept: np.ndarray, minimum_count: int) -> np.ndarray:
    """The counts to keep so that what is left to show tells of nobody, against any version; `kept` and more."""
    while True:
        shown = np.where(kept, 0, last.change)
        grown = kept | ~last.may_change
        for pair in pairs:
            change = pair.change_where(last, shown)
            grown |= last.placed(pair, pair.to_keep(change, minimum_count)) & (shown != 0)
        grown |= last.whole_groups(grown & (last.change != 0))
        grown = kept | (grown & (last.change != 0))
        if np.array_equal(grown, kept):
            return kept
        kept = grown


def without_small_differences(
    new: Tables, period: str, others: list[tuple[str, Tables]], minimum_count: int
) -> Tables:
    """The new release without figures over all periods that, less those of another release, tell of a few people.

    Shapes   others: (period, tables) of every other release, the last version of each period.
    Trends   n and denominator are sums over periods: new less earlier less what the periods between publish must be
             nothing, or at least m; else the row is withheld.
    """
    found = dict(new)
    shown = {other: tables["prevalence"] for other, tables in others if "prevalence" in tables}
    for other, tables in others:
        if "trend" in found and "trend" in tables:
            between = [shown.get(one) for one in sorted({period, *shown}) if other < one < period]
            of_period = [new["prevalence"]] if period > other else []
            if all(part is not None for part in between):
                found["trend"] = _trends_apart(
                    found["trend"], tables["trend"], [*between, *of_period], minimum_count
                )
    return found


# ---- two versions as one table ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Pair:
    """Every count of two versions, and the sums that hold in both.

    frame             KEY, cell, before, after (null: withheld or not there), site_is_new
    sums              (equations, cells): -1 for the total, 1 for its parts
    is_sum_of_parts   (equations,): a true sum; not two counts that turn out to be as many
    """

    frame: pl.DataFrame
    sums: sparse.csr_matrix
    is_sum_of_parts: np.ndarray

    @classmethod
    def of(cls, earlier: Tables, new: Tables) -> _Pair:
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

    def change_where(self, last: _Pair, shown: np.ndarray) -> np.ndarray:
        """What this pair's earlier version and the version under way differ by, as far as both show it: the new figure
        where the last pair shows it, else the last version's."""
        way = last.frame.select(*KEY, told=pl.Series(shown != 0), last="before")
        joined = self.frame.join(way, on=KEY, how="left", maintain_order="left")
        figure = pl.when(pl.col("told").fill_null(False)).then("after").otherwise("last")
        return joined.select((figure - pl.col("before")).fill_null(0)).to_series().to_numpy()

    def placed(self, other: _Pair, marks: np.ndarray) -> np.ndarray:
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


# ---- rows of tables -----------------------------------------------------------------------------------------


def _merged(
    name: str,
    before: pl.DataFrame | None,
    after: pl.DataFrame,
    last: _Pair,
    kept: np.ndarray,
    minimum_count: int,
    key: tuple[str, ...],
) -> pl.DataFrame:
    """Each row of one version or the other."""
    if before is None:
        return after.clear()
    is_new = (
        _counted_rows(name, after, last, kept, minimum_count)
        if name in COUNTED
        else _derived_rows(name, after, last, kept)
    )
    taken = after.filter(pl.Series(is_new, dtype=pl.Boolean))
    rest = before.join(taken.select(key), on=list(key), how="anti", nulls_equal=True)
    return pl.concat([taken, rest.select(taken.columns).cast(dict(taken.schema))])


def _counted_rows(
    name: str, after: pl.DataFrame, last: _Pair, kept: np.ndarray, minimum_count: int
) -> np.ndarray:
    """A row is taken from the new version when a count in it changed and none of its counts is kept.

    A percentile whose count did not change is taken when so many people of the group moved from band to band that
    their change is no few people's.
    """
    cells = cells_of({name: after})
    numbered = cells.frame.select(*KEY).join(
        last.frame.select(*KEY, "cell"), on=KEY, how="left", maintain_order="left"
    )
    place = numbered["cell"].to_numpy()
    places = [place[cells.places[name][column].to_numpy()] for column in cells.places[name].columns]
    change, may = np.where(kept, 0, last.change), last.may_change
    is_told = np.any([change[cell] != 0 for cell in places], axis=0)
    is_clear = np.all([may[cell] & ((last.change[cell] == 0) | ~kept[cell]) for cell in places], axis=0)
    if name == "percentile":
        is_told |= _have_moved(after, last, change) >= minimum_count
    # rows of a site that had none before, withheld ones too, are the new version's
    is_new_site = np.all([last.frame["site_is_new"].to_numpy()[cell] for cell in places], axis=0)
    is_taken = (is_told & is_clear) | (is_new_site & ~np.any([kept[cell] for cell in places], axis=0))
    return _whole_groups_of(after, is_taken, is_told | is_new_site) if name == "prevalence" else is_taken


def _whole_groups_of(after: pl.DataFrame, is_taken: np.ndarray, is_asked: np.ndarray) -> np.ndarray:
    """The rows of the groups in which every row that could be taken is. So a group's bands add up."""
    group = [
        "site",
        "period",
        "sex",
        "age_from",
        "age_to",
        pl.col("banding").replace("bmi_adult_asian", "bmi_adult"),
    ]
    marked = after.with_columns(refused=pl.Series(is_asked & ~is_taken), taken=pl.Series(is_taken))
    return marked.select(pl.col("taken") & ~pl.col("refused").any().over(group)).to_series().to_numpy()


def _have_moved(rows: pl.DataFrame, last: _Pair, change: np.ndarray) -> np.ndarray:
    """How many people of each row's group are known to have moved into other bands."""
    group = ["site", "period", "sex", "age_from", "age_to"]
    moved = (
        last.frame.with_columns(gain=pl.Series(np.maximum(change, 0)))
        .filter(pl.col("kind") == "band")
        .group_by("family", *group)
        .agg(pl.col("gain").sum())
        .group_by(group)
        .agg(pl.col("gain").max())
    )
    keyed = rows.select(
        pl.col("site").fill_null(""),
        "period",
        "sex",
        pl.col("age_from").cast(pl.Int64),
        pl.col("age_to").cast(pl.Int64),
    )
    return keyed.join(moved, on=group, how="left", maintain_order="left")["gain"].fill_null(0).to_numpy()


def _derived_rows(name: str, after: pl.DataFrame, last: _Pair, kept: np.ndarray) -> np.ndarray:
    """A figure worked out of counts is taken where none of the counts that it can rest on is kept: those of its own
    site in the tables of OF_ONE_SITE, any at all elsewhere, since all sites together rest on every site."""
    touched = sorted(set(last.frame.filter(pl.Series(kept))["site"].unique()))
    if not touched:
        return np.ones(after.height, dtype=bool)
    if name not in OF_ONE_SITE:
        return np.zeros(after.height, dtype=bool)
    return (after["site"].is_not_null() & ~after["site"].fill_null("").is_in(touched)).to_numpy()


# ---- figures over all periods -------------------------------------------------------------------------------


def _trends_apart(
    new: pl.DataFrame, other: pl.DataFrame, between: list[pl.DataFrame], minimum_count: int
) -> pl.DataFrame:
    key = ["banding", "band", "sex", "age_from", "age_to"]
    joined = new.join(
        other.select(*key, n_then="n", of_then="denominator"), on=key, how="left", maintain_order="left"
    )
    for place, prevalence in enumerate(between):
        part = prevalence.filter(pl.col("population") == "all").select(
            *key, pl.col("n").alias(f"n_{place}"), pl.col("denominator").alias(f"of_{place}")
        )
        joined = joined.join(part, on=key, how="left", maintain_order="left")
    is_few = pl.lit(False)
    for name, short in (("n", "n"), ("denominator", "of")):
        rest = (
            pl.col(name)
            - pl.col(f"{short}_then")
            - sum((pl.col(f"{short}_{i}") for i in range(len(between))), pl.lit(0))
        )
        is_few = is_few | rest.abs().is_between(1, minimum_count - 1).fill_null(False)
    gone = joined.select(is_few=is_few)["is_few"]
    figures = ("n", "denominator", "odds_ratio", "low", "high", "points_a_period", "p")
    return new.with_columns(
        *(pl.when(~gone).then(pl.col(name)).alias(name) for name in figures),
        flag=pl.when(gone).then(pl.lit("withheld")).otherwise("flag"),
    )
