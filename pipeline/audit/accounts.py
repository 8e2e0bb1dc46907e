"""Rows and readings: the accounts of data quality as the atoms that they are sums of, and what is published of them.

    rows read      = accepted + held + duplicate + superseded, at each site
    rows accepted  = readings of every period, those that count and those set aside
    reasons        each reason to hold (set aside) at most what was held (set aside), all together at least; exactly
                   where each row has one reason, which a reader may take for granted where it is so
    remarks        each at most the readings accepted

Rows are not people: of a small number of rows a release must not give the exact number, and no more is asked.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl
from scipy.sparse import csr_array

from pipeline.audit.polytope import Polytope

OUTCOMES = ("rows_accepted", "rows_held", "rows_duplicate", "rows_superseded")
READ = (*OUTCOMES, "rows of no outcome")  # the last only where the outcomes do not make up what was read
WHOLE = {"hold": "rows_held", "set_aside": "set aside"}  # severity → what its reasons are reasons of
FILES, PEOPLE = "files_held", "people"

Place = tuple[str, str]  # site, period; '' for none
Sum = dict[int, float]  # atom → coefficient


@dataclass
class Accounts:
    """Atoms by (site, period, item), and every count of the table as a sum of them.

    true     the true number of each atom.
    sums     (site, period, item, column) → atoms; site '' for all sites.
    rows     low <= sum <= high that hold whatever is published.
    """

    true: list[float] = field(default_factory=list)
    atom: dict[tuple[str, str, str], int] = field(default_factory=dict)
    sums: dict[tuple[str, str, str, str], Sum] = field(default_factory=dict)
    rows: list[tuple[Sum, float, float]] = field(default_factory=list)

    def add(self, site: str, period: str, item: str, n: float) -> None:
        self.atom[site, period, item] = len(self.true)
        self.true.append(float(n))

    def of(self, sites: list[str], period: str, *items: str) -> Sum:
        """The atoms of these items at these sites; an item that a site does not have is nothing."""
        return {
            self.atom[site, period, item]: 1.0
            for site in sites
            for item in items
            if (site, period, item) in self.atom
        }


def accounts_of(quality: pl.DataFrame) -> Accounts:
    """The accounts of the true table data_quality."""
    rows = quality.filter(~pl.col("item").is_in([FILES, PEOPLE])).select(
        pl.col("site").fill_null(""), pl.col("period").fill_null(""), "item", "severity", "n", "denominator"
    )
    found = Accounts()
    for site, period, item, _, n, whole in rows.filter(pl.col("site") != "").iter_rows():
        if item == "readings":
            found.add(site, period, "readings", n)
            found.add(site, period, "set aside", whole - n)
        elif item != "rows_read":
            found.add(site, period, item, n)
    for site, n in (
        rows.filter((pl.col("site") != "") & (pl.col("item") == "rows_read")).select("site", "n").iter_rows()
    ):
        spare = n - sum(found.true[atom] for atom in found.of([site], "", *OUTCOMES))
        if spare:
            found.add(site, "", "rows of no outcome", spare)
    sites = rows.filter(pl.col("site") != "")["site"].unique().sort().to_list()
    for site, period, item, severity, _, _ in rows.iter_rows():
        at = sites if site == "" else [site]
        found.sums[site, period, item, "n"] = found.of(
            at, period, *(READ if item == "rows_read" else (item,))
        )
        items = ("readings", "set aside") if period else READ
        found.sums[site, period, item, "denominator"] = found.of(at, period, *items)
        if item == "readings":
            found.sums[site, period, "set aside", "n"] = found.of(at, period, "set aside")
        if severity in ("hold", "set_aside", "flag"):
            found.rows.append((found.sums[site, period, item, "n"], 1.0, np.inf))
    found.sums["", "", "total readings", "n"] = found.of(sites, "", "rows_accepted")
    _add_reasons(found, rows.filter(pl.col("site") != ""))
    _add_periods(found, sites, rows["period"].unique().to_list())
    return found


def _add_reasons(found: Accounts, rows: pl.DataFrame) -> None:
    for site, period, item, severity in rows.select("site", "period", "item", "severity").iter_rows():
        if severity == "flag":
            found.rows.append((_less(found.of([site], period, item), found.sums[site, period, item, "denominator"]),
                               -np.inf, 0.0))  # fmt: skip
        elif severity in WHOLE:
            whole = found.of([site], period, WHOLE[severity])
            found.rows.append((_less(found.of([site], period, item), whole), -np.inf, 0.0))
    reasons = rows.filter(pl.col("severity").is_in(list(WHOLE))).group_by(
        "site", "period", "severity", maintain_order=True
    )
    for (site, period, severity), of in reasons:
        every = found.of([site], period, *of["item"])
        whole = found.of([site], period, WHOLE[severity])
        spare = sum(found.true[a] for a in every) - sum(found.true[a] for a in whole)
        found.rows.append((_less(every, whole), 0.0, 0.0 if spare == 0 else np.inf))


def _add_periods(found: Accounts, sites: list[str], periods: list[str]) -> None:
    for site in sites:
        whole = found.of([site], "", "rows_accepted")
        parts = {
            a: 1.0 for period in periods if period for a in found.of([site], period, "readings", "set aside")
        }
        if whole and sum(found.true[a] for a in parts) == sum(found.true[a] for a in whole):
            found.rows.append((_less(whole, parts), 0.0, 0.0))


def _less(one: Sum, other: Sum) -> Sum:
    return {**one, **{atom: one.get(atom, 0.0) - value for atom, value in other.items()}}


def accounts_known(
    accounts: Accounts, published: pl.DataFrame, totals: dict[str, int | None], rounded_by: float = 0
) -> tuple[Polytope, pl.DataFrame]:
    """What is published of the accounts, and every count of them: site, period, item, column, n, is_known.

    Shapes   published: data_quality as published; totals: item → number, or None where it is withheld.
    Errors   ValueError when a published count is not the true one.
    """
    shown = {
        (site or "", period or "", item, column): value
        for site, period, item, *values, share in published.select(
            "site", "period", "item", "n", "denominator", "proportion"
        ).iter_rows()
        for column, value in _values(accounts, (site or "", period or "", item), values, share)
        if value is not None
    }
    if totals.get("readings") is not None:
        shown["", "", "total readings", "n"] = totals["readings"]
    true = np.array(accounts.true)
    value = {key: sum(true[a] * c for a, c in of.items()) for key, of in accounts.sums.items()}
    wrong = [key for key, n in shown.items() if key in value and abs(n - value[key]) > rounded_by]
    if wrong:
        raise ValueError(f"a published count is not the true one: data_quality {wrong[0]}")
    known = [key for key in accounts.sums if key in shown]
    rows = [*accounts.rows, *((accounts.sums[key], value[key], value[key]) for key in known)]
    keys = list(accounts.sums)
    polytope = Polytope(
        np.arange(true.size),
        _matrix([row for row, _, _ in rows], true.size),
        np.array([low for _, low, _ in rows], dtype=float),
        np.array([high for _, _, high in rows], dtype=float),
        true,
        _matrix([accounts.sums[key] for key in keys], true.size),
        np.arange(len(keys)),
        np.zeros(len(keys)),
    )
    counts = pl.DataFrame(
        [(*key, round(value[key]), key in shown) for key in keys],
        schema=["site", "period", "item", "column", "n", "is_known"],
        orient="row",
    )
    return polytope, counts


def _values(
    accounts: Accounts, key: tuple[str, str, str], values: list[int | None], share: float | None
) -> list[tuple[str, int | None]]:
    """n and denominator as a reader has them: a share beside one of them gives the other back."""
    given = dict(zip(("n", "denominator"), values, strict=True))
    if share is not None and None in values:
        for column in given:
            of = accounts.sums.get((*key, column), {})
            given[column] = round(sum(accounts.true[a] * c for a, c in of.items()))
    return list(given.items())


def _matrix(sums: list[Sum], atoms: int) -> csr_array:
    entries = [(value, i, atom) for i, of in enumerate(sums) for atom, value in of.items() if value]
    data, row, column = zip(*entries, strict=True) if entries else ((), (), ())
    return csr_array((np.array(data, dtype=float), (np.array(row, dtype=int), np.array(column, dtype=int))),
                     shape=(len(sums), atoms))  # fmt: skip
