"""Least and greatest values found among few sites, against the programme over all of them at once.

Mechanics: all people are invented. The whole programme is one call of HiGHS and shares with the search by sites only
the rows.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from invented_counts import prevalence
from scipy.sparse import csr_array, eye_array

from pipeline.audit import audit_tables, site_by_site
from pipeline.audit.audit import _distinct, people_asked
from pipeline.audit.polytope import Polytope
from pipeline.audit.site_by_site import Sites
from pipeline.disclosure import protect
from pipeline.programme import Disclosure

RULES = Disclosure()
SITES = 14


@pytest.fixture(autouse=True)
def however_small(monkeypatch):
    monkeypatch.setattr(site_by_site, "AT_ONCE", 0)  # else a part of a few hundred atoms is solved whole


def tables_of_sites(chance: np.random.Generator) -> Polytope:
    """Sites of six atoms: some own sums each, and some sums over all sites; every single atom is asked about."""
    size = SITES * 6
    truth = chance.integers(0, 9, size).astype(float)
    own = np.zeros((SITES * 2, size))
    for row in range(own.shape[0]):
        own[row, (row // 2) * 6 + chance.choice(6, 3, replace=False)] = 1
    over_sites = np.tile(np.eye(6), SITES)[chance.random(6) < 0.8]
    some_sites = (chance.random((3, size)) < 0.2).astype(float)
    rows = np.concatenate([own, over_sites, some_sites])
    value, spare = rows @ truth, chance.integers(0, 3, rows.shape[0])
    spare[chance.random(rows.shape[0]) < 0.6] = 0
    kept = rows.any(axis=1)
    return Polytope(
        np.arange(size), csr_array(rows[kept]), (value - spare)[kept], (value + spare)[kept], truth,
        csr_array(eye_array(size)), np.arange(size), np.zeros(size),
    )  # fmt: skip


def end_of(sites: Sites, goal: np.ndarray) -> float:
    """The last value of a descent, each of which must fit every row and be no greater than the one before."""
    part, last = sites.part, np.inf
    for piece, table in sites.descent(goal):
        if table is None:
            return -np.inf
        whole = part.truth.copy()
        whole[piece.atom] = table
        value = part.rows @ whole
        assert (whole >= -1e-6).all() and (value >= part.low - 1e-6).all() and (value <= part.high + 1e-6).all()
        assert goal @ whole <= last + 1e-6
        last = goal @ whole
    return last


@pytest.mark.parametrize("seed", range(8))
def test_the_least_among_few_sites_is_the_least_of_all(seed):
    chance = np.random.default_rng(seed)
    part = tables_of_sites(chance)
    sites = Sites(part, np.arange(part.atom.size) // 6)
    goals = [*np.eye(part.atom.size)[chance.choice(part.atom.size, 3, replace=False)]]
    goals.append(np.tile(np.eye(6)[0], SITES))  # a sum over all sites
    for goal in (*goals, *(-goal for goal in goals)):
        least = part.least(goal)
        assert end_of(sites, goal) == pytest.approx(-np.inf if least is None else goal @ least, abs=1e-6)


def test_few_sites_are_brought_in_where_few_are_needed():
    """Bands of one site give way to those of another; of forty, twenty at most come in."""
    truth = np.tile([3.0, 30.0], 40)
    own, over = np.kron(np.eye(40), [[1, 1]]), np.tile(np.eye(2), 40)
    rows = np.concatenate([own, over])
    part = Polytope(
        np.arange(80), csr_array(rows), rows @ truth, rows @ truth, truth, csr_array(eye_array(80)),
        np.arange(80), np.zeros(80),
    )  # fmt: skip
    pieces = [piece.atom.size for piece, _ in Sites(part, np.arange(80) // 2).descent(-np.eye(80)[0])]
    assert pieces[0] == 2 and pieces[-1] <= 40


@pytest.mark.parametrize("seed", range(3))
def test_a_release_of_many_sites_is_judged_as_by_programmes_over_everything(seed):
    """Suppressed without a proof, and a few withheld rows shown again: some counts follow, others do not."""
    chance = np.random.default_rng(seed)
    people = chance.choice([0, 2, 4, 7, 12, 30], (9, 2, 2, 4), p=[0.1, 0.1, 0.1, 0.1, 0.2, 0.4])
    truth = {"prevalence": prevalence(people)}
    shown = protect(truth, RULES, is_proved=False)["prevalence"]
    key = ["band", "site", "sex", "age_from", "age_to"]
    gone = truth["prevalence"].join(shown.drop_nulls("n"), on=key, how="anti", nulls_equal=True)
    again = gone.filter(pl.col("n") >= 10).sample(12, seed=seed)
    rest = shown.join(again, on=key, how="anti", nulls_equal=True)
    published = {"prevalence": pl.concat([rest, again.select(rest.columns)], how="vertical_relaxed")}
    audit = audit_tables(truth, published, RULES)
    known, asked = people_asked(truth, published, RULES)
    cells = audit.cells.filter(pl.col("verdict") != "rest")
    judged = asked.join(cells, on=asked.columns, how="left", maintain_order="left")
    narrow = cells.filter(verdict="narrow").height
    assert 0 < narrow < asked.height
    for place, (low, high, width, verdict) in enumerate(
        judged.select("low", "high", "width", "verdict").iter_rows()
    ):
        least, greatest = known.interval(place)
        assert (greatest - least >= width - 1e-6) == (verdict != "narrow")
        assert least - 1e-6 <= low and high <= greatest + 1e-6
        if verdict == "narrow":
            assert (low, high) == pytest.approx((least, greatest), abs=1e-6)


def test_sums_of_many_atoms_are_only_alike_where_they_are_the_same():
    """Told apart by weights between 0 and 1 to seven places, some two thousand of these were taken for another."""
    every = csr_array(eye_array(200_000))
    _, first = _distinct(every)
    assert first.size == 200_000
    twice = csr_array(np.array([[1.0, 1, 0], [0, 1, 1], [1, 1, 0], [0, 1, 1], [1, 1, 1]]))
    assert _distinct(twice)[1].tolist() == [0, 1, 4]
