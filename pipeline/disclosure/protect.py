"""Unsuppressed tables → tables that may be published: the figures of withheld cells are empty, and flagged.

One flag stands for every withheld figure, whatever the reason: telling a small count from one that protects it
would tell which counts are small. Rows that would show nothing of a site's group are left out (presence.py).

People are counted within a period and no sum goes from one period to another, so each period is decided on by itself:
what it shows does not change when another one comes, and one whose results are as they were need not be decided again
(pipeline/release/protected_view.py). Only a trend stands on several.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import polars as pl

from pipeline.disclosure.cells import Cells, cells_of
from pipeline.disclosure.curve_rules import (
    curve_as_published,
    curve_diagnostic_as_published,
    percentile_curve_as_published,
)
from pipeline.disclosure.derived import (
    position_as_published,
    standardised_as_published,
    trend_as_published,
)
from pipeline.disclosure.equations import equations_of, require_that_people_add_up
from pipeline.disclosure.outcome_rules import OUTCOME_FIGURES, OUTCOME_RULES
from pipeline.disclosure.percentile_evidence import FIGURES as STATED
from pipeline.disclosure.percentile_evidence import POSITION, Evidence, evidence_of
from pipeline.disclosure.percentile_tail import limits_are_open, percentile_is_open
from pipeline.disclosure.presence import Presence, without_silent_groups
from pipeline.disclosure.primary import sensitive_cells
from pipeline.disclosure.remembered import Memory
from pipeline.disclosure.site_rules import (
    device_as_published,
    instrument_check_as_published,
    site_comparison_as_published,
    site_heterogeneity_as_published,
)
from pipeline.disclosure.suppression import suppressed, suppressed_by_rounds
from pipeline.periods_apart import BY_PERIOD, people_and_rows
from pipeline.programme import Disclosure

WITHHELD = "withheld"
FIGURES = {
    "prevalence": ("n", "denominator", "proportion", "low", "high", "design_effect"),
    "percentile": ("value", "low", "high", "n"),
    "data_quality": ("n", "denominator", "proportion"),
    "total": ("n",),
    "standardised_prevalence": ("n", "denominator", "proportion", "low", "high"),
    "trend": ("n", "denominator", "odds_ratio", "low", "high", "points_a_period", "p"),
    "curve": ("n", "age_from", "age_to", "why"),
    "percentile_curve": ("value", "low", "high", "n"),
    "curve_diagnostic": ("observed", "expected", "low", "high", "n"),
    "who_position": ("n", "denominator", "proportion", "low", "high"),
    "site_comparison": (
        *("n", "denominator", "value", "low", "high", "reference", "expected"),
        *(
            "ratio",
            "ratio_low",
            "ratio_high",
            "score",
            "q_value",
            "shrunken",
            "shrunken_low",
            "shrunken_high",
        ),
        *("funnel_low_95", "funnel_high_95", "funnel_low_998", "funnel_high_998"),
    ),
    "site_heterogeneity": (
        *("sites", "mean", "low", "high", "between_sd", "i_squared", "q", "p", "overdispersion"),
    ),
    "device": ("n", "difference", "low", "high", "upper_sum", "lower_sum", "signal"),
    "instrument_check": ("n", "denominator", "statistic", "p", "value"),
    **OUTCOME_FIGURES,
}
COUNTED = ("prevalence", "percentile", "data_quality", "total")  # tables of counts, which add up; the rest is derived
Tables = dict[str, pl.DataFrame]


def protect(
    tables: dict[str, pl.DataFrame],
    rules: Disclosure,
    *,
    is_proved: bool = True,
    memory: Memory | None = None,
) -> dict[str, pl.DataFrame]:
    """The same tables, with the figures of withheld cells empty and their flag `withheld`, and some rows left out.

    is_proved: with a proof for every withheld count, as a release needs. Without, what single sums and bounds give away
    is withheld, in a fraction of the time: enough for the programme's own view, not for publication. memory: where
    proved decisions are looked up and kept; the outcome is the same without.
    Shapes   tables: as in result.*, and total (item, n); any may be absent. A table worked out of prevalence or
             percentile is withheld whole without it. out: the same tables, columns and order.
             Rows left out: of prevalence those of a site's group of which no figure is shown; of percentile those of
             any group, all sites too, of which no percentile is shown; of standardised_prevalence and
             site_comparison a site's rows whose group is not left in those two. Their absence says nobody, or
             withheld. Whoever writes the tables must not say more: the protection of withheld counts rests on it.
    Missing  a figure that is null stays null; its flag is not touched.
    Errors   ValueError for a table that no rule covers, or a count that is null: unsuppressed results go in.
    """
    place = "row of its table"
    parts, rest = by_period({name: rows.with_row_index(place) for name, rows in tables.items()})

    def protected(part: Tables) -> Tables:
        return protect_period(part, rules, is_proved=is_proved, memory=memory)

    with ThreadPoolExecutor(os.cpu_count()) as workers:  # solvers and Polars leave the interpreter to the others
        of_periods = list(workers.map(protected, parts.values()))
    together = {
        name: pl.concat([part[name] for part in of_periods if name in part])
        for name in tables
        if any(name in part for part in of_periods)
    }
    of_rest = protect_rest(rest, together.get("prevalence"), rules, is_proved=is_proved, memory=memory)
    return {
        name: pl.concat([part[name] for part in (together, of_rest) if name in part]).sort(place).drop(place)
        for name in tables
    }


def by_period(tables: Tables) -> tuple[dict[str, Tables], Tables]:
    """Tables for protect_period by period, and those for protect_rest. Each period's part has every table of BY_PERIOD
    that there is, if without rows.

    Errors   ValueError for a table that no rule covers.
    """
    strangers = sorted(set(tables) - set(FIGURES))
    if strangers:
        raise ValueError(f"no disclosure rule for table {strangers[0]}; tables are {', '.join(FIGURES)}")
    within = {name: rows for name, rows in tables.items() if name in BY_PERIOD}
    rest = {name: rows for name, rows in tables.items() if name not in BY_PERIOD}
    if "data_quality" in rest:
        within["data_quality"], rest["data_quality"] = people_and_rows(rest["data_quality"])
    periods = {period for rows in within.values() for period in rows["period"].unique().to_list()}
    parts = {
        period: {name: rows.filter(pl.col("period") == period) for name, rows in within.items()}
        for period in sorted(periods)
    }
    if not parts and within:
        parts = {"": within}  # tables without rows go through the same rules
    return parts, rest


def protect_period(tables: Tables, rules: Disclosure, *, is_proved: bool, memory: Memory | None = None) -> Tables:
    """As protect, of the tables of one period. Shapes   tables: one of the parts of by_period; out: the same tables."""
    counted = {name: tables[name] for name in COUNTED if name in tables}
    protected, telling = _counts_as_published(counted, rules, is_proved, memory, tables.get("who_position"))
    for name in (name for name in tables if name not in COUNTED):
        rows, gone = _derived(name, tables[name], protected, rules)
        if name == "who_position":
            gone |= pl.Series(telling)
        protected[name] = _emptied(rows, FIGURES[name], gone.to_numpy())
    return without_silent_groups({name: protected[name] for name in tables})


def protect_rest(
    tables: Tables,
    prevalence: pl.DataFrame | None,
    rules: Disclosure,
    *,
    is_proved: bool,
    memory: Memory | None = None,
) -> Tables:
    """As protect, of what by_period leaves over. prevalence: as protected, of all periods; None where there is none."""
    counted = {name: tables[name] for name in COUNTED if name in tables}
    protected, _ = _counts_as_published(counted, rules, is_proved, memory, None)
    beside = {} if prevalence is None else {"prevalence": prevalence}
    for name in (name for name in tables if name not in COUNTED):
        rows, gone = _derived(name, tables[name], beside, rules)
        protected[name] = _emptied(rows, FIGURES[name], gone.to_numpy())
    return {name: protected[name] for name in tables}


def _counts_as_published(
    tables: dict[str, pl.DataFrame],
    rules: Disclosure,
    is_proved: bool,
    memory: Memory | None,
    position: pl.DataFrame | None,
) -> tuple[dict[str, pl.DataFrame], np.ndarray]:
    """The tables of counts, which add up within and across each other, hence are withheld together.

    Shapes   position: who_position, or None; out: the tables, and which rows of position say too much of bands.
    """
    telling = np.zeros(0 if position is None else position.height, dtype=bool)
    if not tables:
        return {}, telling
    tables = dict(tables)
    cells = cells_of(tables)
    equations = equations_of(cells)
    sensitive = sensitive_cells(cells, rules.minimum_count)
    require_that_people_add_up(cells, equations)
    closed, evidence, broken = {}, None, np.zeros(0, dtype=bool)
    if "percentile" in tables:
        percentile = tables["percentile"] = _with_open_limits(tables["percentile"], rules)
        is_open = _is_open(percentile, rules)
        closed = {"percentile": ~is_open}
        if is_proved:
            evidence = evidence_of(cells, percentile, is_open, position, rules.minimum_count)
    presence = Presence.of(cells, closed)
    if is_proved:
        withheld, broken = suppressed(
            cells, equations, sensitive, rules.minimum_count, presence, evidence, memory=memory
        )
    else:
        withheld = suppressed_by_rounds(cells, equations, sensitive, rules.minimum_count, presence)
    protected = {}
    for name, rows in tables.items():
        gone = _row_is_withheld(cells, name, withheld)
        if name == "percentile":
            gone |= closed[name]
        if name == "percentile" and evidence is not None:
            told = _broken_figures(evidence, broken, rows.height)
            gone |= told["value"]
            rows = rows.with_columns(
                pl.when(~pl.Series(told[limit])).then(pl.col(limit)).alias(limit) for limit in ("low", "high")
            )
        protected[name] = _emptied(rows, FIGURES[name], gone)
    if evidence is not None:
        telling[evidence.row[broken & (evidence.figure == POSITION)]] = True
    return protected, telling


def _broken_figures(evidence: Evidence, broken: np.ndarray, rows: int) -> dict[str, np.ndarray]:
    """Which values and limits of percentiles say too much of bands. Shapes   each (rows,) of bool."""
    return {
        name: np.isin(np.arange(rows), evidence.row[broken & (evidence.figure == place)])
        for place, name in enumerate(STATED)
    }


def _derived(
    name: str, rows: pl.DataFrame, protected: dict[str, pl.DataFrame], rules: Disclosure
) -> tuple[pl.DataFrame, pl.Series]:
    """A derived table with its figures told as exactly as they may be, and whether each row is withheld."""
    if not rows.height:
        return rows, pl.Series([], dtype=pl.Boolean)
    alone = {
        "curve": curve_as_published,
        "percentile_curve": percentile_curve_as_published,
        "curve_diagnostic": curve_diagnostic_as_published,
        "device": device_as_published,
        "instrument_check": instrument_check_as_published,
        **OUTCOME_RULES,
    }
    beside = {
        "standardised_prevalence": (standardised_as_published, ("prevalence",)),
        "trend": (trend_as_published, ("prevalence",)),
        "who_position": (position_as_published, ("percentile",)),
        "site_comparison": (site_comparison_as_published, ("prevalence", "percentile")),
        "site_heterogeneity": (site_heterogeneity_as_published, ("prevalence", "percentile")),
    }
    if name in alone:
        return alone[name](rows, rules)
    rule, needed = beside[name]
    if any(other not in protected for other in needed):
        return rows, pl.Series([True] * rows.height)
    return rule(rows, *(protected[other] for other in needed), rules)


def _row_is_withheld(cells: Cells, name: str, withheld: np.ndarray) -> np.ndarray:
    places = cells.places[name]
    gone = np.zeros(places.height, dtype=bool)
    for column in places.columns:
        gone |= withheld[places[column].to_numpy()]
    return gone


def _is_open(rows: pl.DataFrame, rules: Disclosure) -> np.ndarray:
    """Whether there is a percentile, and enough people for it, in all and on either side."""
    n, percentile = rows["n"].to_numpy(), rows["percentile"].cast(pl.Int64).to_numpy()
    is_enough = (n >= rules.minimum_people_for_percentile) & percentile_is_open(
        n, percentile, rules.minimum_count
    )
    return is_enough & rows["value"].is_not_null().to_numpy()


def _with_open_limits(rows: pl.DataFrame, rules: Disclosure) -> pl.DataFrame:
    low, high = limits_are_open(rows["n"].to_numpy(), rows["percentile"].to_numpy(), rules.minimum_count)
    return rows.with_columns(
        low=pl.when(pl.Series(low)).then(pl.col("low")), high=pl.when(pl.Series(high)).then(pl.col("high"))
    )


def _emptied(rows: pl.DataFrame, figures: tuple[str, ...], gone: np.ndarray) -> pl.DataFrame:
    is_gone = pl.Series(gone)
    there = [name for name in figures if name in rows.columns]
    emptied = rows.with_columns(pl.when(~is_gone).then(pl.col(name)).alias(name) for name in there)
    if "flag" not in rows.columns:
        return emptied
    return emptied.with_columns(flag=pl.when(is_gone).then(pl.lit(WITHHELD)).otherwise(pl.col("flag")))
