"""Counts with noise that gives differential privacy, on request: [disclosure.noise].

One table, noisy_count: for each period that is over, a count of people by sex, age group and BMI band, all sites.
A person adds one to exactly one of its cells in a period (tally.band: one reading counts, one band holds it), so that
one person more or less changes the whole table of a period by 1 in one cell: sensitivity 1, unit of privacy one person
in one period. Which periods, sexes, groups and bands there are is taken as known; empty cells get noise like others.

    delta = 0   discrete Laplace noise:  epsilon-differential privacy a period
    delta > 0   discrete Gaussian noise: (epsilon, delta)-differential privacy a period

Over several periods budgets add up (basic composition): a person in k periods is covered by k·epsilon and k·delta.
Sampling is OpenDP's, exact over whole numbers, from the operating system's randomness: there is no seed, and so no way
to draw the same noise again and take it off.

The promise is the table's own. The other tables are exact and protected by suppression, another promise; noise finer
than it would undo it, for a noisy count of 2 ± 1 beside a withheld cell says what is withheld. Therefore noise is
refused whose 95 % interval is narrower than twice minimum_count.

Source   Ghosh, Roughgarden & Sundararajan, SIAM J Comput 2012;41:1673-93 (discrete Laplace, "geometric mechanism");
         Canonne, Kamath & Steinke, NeurIPS 2020 (discrete Gaussian); Dwork & Roth, Found Trends Theor Comput Sci
         2014;9:211-407, theorem 3.16 (composition). From memory. Checked in tests/disclosure/test_noisy_counts.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline import measures

BANDINGS = ("bmi_adult", "bmi_child")  # their ages do not overlap: together they hold a person once
CONFIDENCE = 0.95
_CELL = ("period", "sex", "age_from", "age_to", "banding", "band")


class NoiseTooFine(ValueError):
    """The noise asked for would say more of a withheld count than suppression allows."""


@dataclass(frozen=True)
class Mechanism:
    """Noise of one scale: how wide it is, and what it promises of one person in one period."""

    name: str
    scale: float
    half_width: int  # of the 95 % interval of a noisy count, in people
    epsilon: float
    delta: float
    draw: Any  # an OpenDP measurement: counts in, noisy counts out


def mechanism(epsilon: float, delta: float, *, minimum_count: int) -> Mechanism:
    """The mechanism for one period's budget.

    Errors   ModuleNotFoundError without OpenDP; NoiseTooFine when its 95 % interval is narrower than twice
             minimum_count.
    """
    import opendp.prelude as dp

    dp.enable_features("contrib")
    domain = dp.vector_domain(dp.atom_domain(T="i64"))
    if delta == 0:
        scale = 1 / epsilon
        drawn = dp.m.make_laplace(domain, dp.l1_distance(T="i64"), scale=scale)
        width = dp.discrete_laplacian_scale_to_accuracy(scale, 1 - CONFIDENCE)
        name = "discrete Laplace"
    else:

        def at(scale: float) -> Any:
            return dp.m.make_gaussian(domain, dp.l2_distance(T="f64"), scale=scale)

        def promised(scale: float) -> Any:
            return dp.c.make_fix_delta(dp.c.make_zCDP_to_approxDP(at(scale)), delta=delta)

        scale = dp.binary_search_param(promised, d_in=1.0, d_out=(epsilon, delta))
        drawn = at(scale)
        width = dp.discrete_gaussian_scale_to_accuracy(scale, 1 - CONFIDENCE)
        name = "discrete Gaussian"
    if width < minimum_count:
        raise NoiseTooFine(
            f"a noisy count would be within {int(width)} of the true one 19 times in 20, "
            f"and suppression promises {minimum_count}"
        )
    return Mechanism(name, scale, int(width), epsilon, delta, drawn)


def empty_grid(periods: Sequence[str], groups: Sequence[tuple[int, int]]) -> pl.DataFrame:
    """Every cell there is by the settings and the registry alone, none of which a count decides on.

    Shapes   out: columns period, sex, age_from, age_to, banding, band; one row a cell, in a fixed order.
    """
    rows = [
        (period, sex, low, high, name, band.name)
        for period in periods
        for sex in ("female", "male")
        for low, high in groups
        for name in BANDINGS
        if measures.BANDINGS[name].age_from <= low and high <= measures.BANDINGS[name].age_to
        for band in measures.BANDINGS[name].bands
    ]
    return pl.DataFrame(rows, schema=list(_CELL), orient="row")


def counted(grid: pl.DataFrame, people: pl.DataFrame) -> pl.DataFrame:
    """The grid with its true counts as column n.

    Shapes   people: period, sex, age, banding, band, n. Ages outside the groups are left out.
    """
    by_cell = (
        people.join(grid.select("age_from", "age_to").unique(), how="cross")
        .filter(pl.col("age").is_between("age_from", "age_to"))
        .group_by(_CELL)
        .agg(pl.col("n").sum())
    )
    return grid.join(by_cell, on=list(_CELL), how="left", maintain_order="left").with_columns(
        pl.col("n").fill_null(0).cast(pl.Int64)
    )


def noisy(counts: pl.DataFrame, of: Mechanism) -> pl.DataFrame:
    """The cells with noisy counts in place of true ones, and what the noise is. Each call spends the budget again.

    Shapes   counts: as of `counted`, of one period; out: the same rows with n, half_width, epsilon, delta, mechanism.
    Units    n in people, and below 0 where the noise takes it there: cutting it off would bias every sum.
    """
    if counts["period"].n_unique() > 1:
        raise ValueError("one period at a time: the budget is a period's")
    return counts.with_columns(
        n=pl.Series(of.draw(counts["n"].to_list()), dtype=pl.Int64),
        half_width=pl.lit(of.half_width, dtype=pl.Int64),
        epsilon=pl.lit(float(of.epsilon)),
        delta=pl.lit(float(of.delta)),
        mechanism=pl.lit(of.name),
    )


def budget(rows: pl.DataFrame) -> dict[str, Any]:
    """What a table of noisy counts has spent, for whoever reads the release.

    Shapes   rows: period, epsilon, delta, mechanism among its columns.
    """
    spent = rows.select("period", "epsilon", "delta", "mechanism").unique().sort("period")
    return {
        "tables": ["noisy_count"],
        "unit": "one person in one period: the one reading that counts, in one cell",
        "composition": "basic: over periods epsilon and delta of a person add up",
        "periods": spent.to_dicts(),
        "epsilon_of_a_person_in_every_period": round(spent["epsilon"].sum(), 12),
        "delta_of_a_person_in_every_period": spent["delta"].sum(),
        "holds_for": "this table alone; the other tables are exact and protected by suppression",
    }
