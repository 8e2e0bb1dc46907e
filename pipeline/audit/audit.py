"""The proof of a release: of each sensitive count, that no reader of everything published could place it too closely.

It reads what is published, not what the suppressor meant, and shares no code with it: the counts are written as sums
of the smallest groups of people (atoms.py), every published figure becomes a row over these (knowledge.py,
thresholds.py, derived_rows.py), and the least and greatest value of each sensitive count under all rows is found or
bounded (proof.py). A count is protected when these are as far apart as its group is large, or half of minimum_count
where that is less; a number of rows when it is not exact. What the published parts leave of a published total is looked
at besides (rests.py).

What a reader is taken to know, and what not: docs/disclosure.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.sparse import csr_array

from pipeline.audit.accounts import accounts_known, accounts_of
from pipeline.audit.atoms import Atoms, atoms_of
from pipeline.audit.derived_rows import rows_of_bounds, rows_of_expected, rows_of_readings, rows_of_trends
from pipeline.audit.knowledge import Rows, known_counts, people_known
from pipeline.audit.polytope import NEAR, Polytope
from pipeline.audit.proof import Proof, prove
from pipeline.audit.rests import few_left
from pipeline.audit.sensitive import sensitive_counts
from pipeline.audit.shown_counts import KEY, shown_counts
from pipeline.audit.thresholds import bounds_below, counts_below
from pipeline.audit.true_atoms import true_atoms
from pipeline.programme import Disclosure

EVIDENCE = ("percentile", "who_position", "trend", "site_comparison", "data_quality")
NOT_PEOPLE_WIDTH = 1.0  # rows: two whole numbers must be possible


@dataclass(frozen=True)
class Audit:
    """What was found.

    cells     one row a distinct sensitive count: KEY (of rows: kind rows, family the item, band the column), n, width,
              low, high, verdict; and one row a total of which few people are left.
              verdict   shown: it stands in the files. figure: a figure beside it gives it back. narrow: low to high is
                        all it can be. rest: so few (n) are left of the total when its published parts are taken away.
                        unproven: nobody looked, since enough had been found. example, programme: it is protected,
                        proved by other tables or by its own linear programmes.
    counts    how many counts the release has, and how many of them no file shows.
    """

    cells: pl.DataFrame
    counts: int
    withheld: int

    @property
    def breaches(self) -> pl.DataFrame:
        return self.cells.filter(~pl.col("verdict").is_in(["example", "programme"]))

    @property
    def is_sound(self) -> bool:
        return self.breaches.is_empty()


def audit_tables(
    truth: dict[str, pl.DataFrame],
    published: dict[str, pl.DataFrame],
    rules: Disclosure,
    *,
    totals: dict[str, int | None] | None = None,
    most_breaches: int | None = None,
    evidence: tuple[str, ...] = EVIDENCE,
) -> Audit:
    """Prove or refute that no sensitive count of `truth` follows from `published`.

    Shapes   truth: unsuppressed tables of results; published: tables as a reader has them; in any order of rows.
             totals: item → number, or None where it is withheld, of release.json.
    Errors   ValueError when a published count is not the true one, or the results do not add up.
    `most_breaches` ends the proof early once so many counts are found narrow. `evidence` names what a reader uses
    besides the counts themselves: all of EVIDENCE, unless one wants to know what each of them adds.
    """
    parts = []
    if rules.rounding:
        evidence = ()  # figures made of rounded counts say less than the counts themselves, here taken as exact
    if any(name in truth for name in ("prevalence", "percentile")):
        parts.append(_people(truth, published, rules, most_breaches, evidence))
    if "data_quality" in truth:
        parts.append(_accounts(truth, published, rules, totals or {}, most_breaches))
    cells = pl.concat([cells for cells, _, _ in parts]) if parts else pl.DataFrame(schema=_CELLS)
    return Audit(cells, sum(n for _, n, _ in parts), sum(n for _, _, n in parts))


_CELLS = {
    **{name: pl.Int64 if name.startswith("age") else pl.String for name in KEY},
    "n": pl.Int64, "width": pl.Float64, "low": pl.Float64, "high": pl.Float64, "verdict": pl.String,
}  # fmt: skip


def people_asked(
    truth: dict[str, pl.DataFrame], published: dict[str, pl.DataFrame], rules: Disclosure
) -> tuple[Polytope, pl.DataFrame]:
    """What a reader knows of people, asking about each distinct sensitive count that no file shows; and these counts.

    Shapes   as audit_tables; out: the counts are KEY, n, width, row by row the sums that are asked about.
    """
    view = _view(truth, published, rules)
    return view.polytope, view.asked


@dataclass(frozen=True)
class _View:
    """A reader's view. in_sight: sensitive counts that a file shows: KEY, n, width, is_figure; rests: of few_left."""

    atoms: Atoms
    polytope: Polytope
    asked: pl.DataFrame
    in_sight: pl.DataFrame
    rests: pl.DataFrame
    counts: int
    known: int


def _view(
    truth: dict[str, pl.DataFrame],
    published: dict[str, pl.DataFrame],
    rules: Disclosure,
    evidence: tuple[str, ...] = EVIDENCE,
) -> _View:
    true = shown_counts(truth).group_by(KEY).agg(pl.col("n").max()).sort(KEY)
    atoms = atoms_of(true)
    shown = shown_counts(published)
    known = known_counts(shown, true, (rules.rounding or 0) / 2)
    rows = everything_known(
        atoms, true, shown, known, {k: published[k] for k in evidence if k in published}, rules.minimum_count
    )
    table = true_atoms(atoms, true)
    sensitive = sensitive_counts(with_pieces(atoms, true, table), rules.minimum_count)
    in_sight = sensitive.join(known.select(*KEY, "is_figure"), on=KEY, maintain_order="left")
    asked = sensitive.join(known, on=KEY, how="anti", maintain_order="left")
    sums, first = _distinct(atoms.sums(asked))
    polytope = Polytope(
        np.arange(atoms.count), rows.sums, rows.low, rows.high, table, sums,
        np.arange(first.size), np.zeros(first.size),
    )  # fmt: skip
    rests = few_left(atoms, true, known, rules.minimum_count)
    return _View(atoms, polytope, asked[first], in_sight, rests, true.height, known.height)


def _people(
    truth: dict[str, pl.DataFrame],
    published: dict[str, pl.DataFrame],
    rules: Disclosure,
    most_breaches: int | None,
    evidence: tuple[str, ...],
) -> tuple[pl.DataFrame, int, int]:
    if shown_counts(truth).is_empty():
        return pl.DataFrame(schema=_CELLS), 0, 0
    view = _view(truth, published, rules, evidence)
    place = view.atoms.described()
    proof = prove(
        view.polytope,
        view.asked["width"].to_numpy(),
        (view.asked["n"] >= rules.minimum_count).to_numpy(),
        place["site"].to_numpy(),
        place["scale"].to_numpy(),
        most_breaches=most_breaches,
    )
    value = pl.col("n").cast(pl.Float64)
    seen = view.in_sight.select(
        *KEY, "n", "width", low=value, high=value,
        verdict=pl.when("is_figure").then(pl.lit("figure")).otherwise(pl.lit("shown")),
    )  # fmt: skip
    rests = view.rests.select(
        *KEY, "n", width=pl.min_horizontal(value, pl.lit(rules.minimum_count / 2)), low=value, high=value,
        verdict=pl.lit("rest"),
    )  # fmt: skip
    cells = pl.concat([seen, rests, _judged(view.asked, proof)])
    return cells, view.counts, view.counts - view.known


def everything_known(
    atoms: Atoms,
    true: pl.DataFrame,
    shown: pl.DataFrame,
    known: pl.DataFrame,
    published: dict[str, pl.DataFrame],
    minimum: int,
) -> Rows:
    """Every row over the atoms that a reader of the published tables has."""
    parts = [people_known(atoms, known, shown, true)]
    none = pl.DataFrame()
    bounds = bounds_below(published.get("percentile", none), published.get("who_position", none), minimum)
    bounds = bounds.filter(pl.col("banding").is_in(atoms.families))
    if bounds.height:
        parts.append(rows_of_bounds(atoms, bounds, counts_below(bounds)))
    if published.get("trend", none).height:
        parts.append(rows_of_trends(atoms, published["trend"], true))
    if published.get("site_comparison", none).height:
        parts.append(rows_of_expected(atoms, published["site_comparison"], known))
    if published.get("data_quality", none).height:
        parts.append(rows_of_readings(atoms, published["data_quality"]))
    return Rows.stacked(parts)


def with_pieces(atoms: Atoms, true: pl.DataFrame, table: np.ndarray) -> pl.DataFrame:
    """The true counts and those of the pieces between the cuts of two bandings, which only both together show."""
    parts = [true]
    for scale in atoms.scales:
        for banding, piece in scale.between:
            groups = true.filter(kind="people", family=banding)
            of_piece = groups.select(KEY).with_columns(kind=pl.lit("band"), band=pl.lit(piece))
            n = np.round(atoms.sums(of_piece) @ table).astype(np.int64)
            parts.append(of_piece.with_columns(n=pl.Series(n)))
    return pl.concat(parts)


def _distinct(sums: csr_array) -> tuple[csr_array, np.ndarray]:
    """The distinct sums of atoms, and the position of the first of each. Alike are those that weigh alike at random.

    In whole numbers of 64 bits, which wrap around: weights between 0 and 1, compared to seven places, take two of ten
    thousand sums for one, and a count that is taken for another is never looked at.
    """
    weight = np.random.default_rng(0).integers(0, 2**64, sums.shape[1], dtype=np.uint64)
    whole = csr_array(
        (sums.data.astype(np.int64).astype(np.uint64), sums.indices, sums.indptr), shape=sums.shape
    )
    _, first = np.unique(whole @ weight, return_index=True)
    first = np.sort(first)
    return sums[first], first


def _accounts(
    truth: dict[str, pl.DataFrame],
    published: dict[str, pl.DataFrame],
    rules: Disclosure,
    totals: dict[str, int | None],
    most_breaches: int | None,
) -> tuple[pl.DataFrame, int, int]:
    accounts = accounts_of(truth["data_quality"])
    polytope, counts = accounts_known(accounts, published["data_quality"], totals, (rules.rounding or 0) / 2)
    is_sensitive = counts["n"].is_between(1, rules.minimum_count - 1).to_numpy()
    is_asked = is_sensitive & ~counts["is_known"].to_numpy()
    sums, first = _distinct(polytope.asked[np.flatnonzero(is_asked)])
    asked = counts.filter(is_asked)[first]
    width = np.full(asked.height, NOT_PEOPLE_WIDTH)
    atoms = polytope.atom
    asking = Polytope(
        atoms, polytope.rows, polytope.low, polytope.high, polytope.truth, sums,
        np.arange(asked.height), np.zeros(asked.height),
    )  # fmt: skip
    site = np.unique([site for site, _, _ in accounts.atom], return_inverse=True)[1]
    proof = prove(
        asking, width, np.zeros(asked.height, dtype=bool), site, np.zeros_like(site), most_breaches=most_breaches
    )
    seen = counts.filter(is_sensitive & counts["is_known"].to_numpy())
    value = pl.col("n").cast(pl.Float64)
    shown = _keyed(seen).with_columns(
        width=pl.lit(NOT_PEOPLE_WIDTH), low=value, high=value, verdict=pl.lit("shown")
    )
    judged = _judged(_keyed(asked).with_columns(width=pl.lit(NOT_PEOPLE_WIDTH)), proof)
    return pl.concat([shown, judged]), counts.height, int((~counts["is_known"]).sum())


def _keyed(counts: pl.DataFrame) -> pl.DataFrame:
    return counts.select(
        kind=pl.lit("rows"), family="item", band="column", site="site", period="period", sex=pl.lit(""),
        age_from=pl.lit(0, dtype=pl.Int64), age_to=pl.lit(0, dtype=pl.Int64), n="n",
    )  # fmt: skip


def _judged(asked: pl.DataFrame, proof: Proof) -> pl.DataFrame:
    wide = proof.high - proof.low >= proof.width - NEAR
    verdict = np.select(
        [proof.by_example & wide, proof.by_programme & wide, proof.by_programme],
        ["example", "programme", "narrow"],
        "unproven",
    )
    return asked.select(
        *KEY, "n", "width", low=pl.Series(proof.low), high=pl.Series(proof.high),
        verdict=pl.Series(verdict, dtype=pl.String),
    )  # fmt: skip
