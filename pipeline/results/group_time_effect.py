"""Sites that started at different times → result.group_time_effect."""

from __future__ import annotations

from datetime import date

import numpy as np
import polars as pl

from pipeline.programme import Programme
from pipeline.statistics.group_time_effect import LEAST_SITES, Effect, group_time_effects
from pipeline.store import Store, sql_text

_METHOD = (
    "group-time effects against sites not yet started (Callaway & Sant'Anna 2021), adults seen in both periods, 100 × "
    "log of weight; spread between sites pooled, Student's t; unreliable with fewer than {least} sites on either side"
)


def build_group_time_effects(store: Store, programme: Programme) -> None:
    """Rewrite result.group_time_effect, in the caller's transaction; empty where no sites started one by one."""
    periods = [
        row[0] for row in store.rows("select distinct period from reading.participant_period order by period")
    ]
    starts = _starts(programme, periods)
    rows: list[tuple] = []
    if starts["started"].n_unique() >= 2:
        with store.lent("site_start_period", starts.select("site", base="before")):
            cells = store.frame(sql_text("57_outcome_period_change.sql"))
        found = _effects(starts, cells, periods)
        rows = [_row(effect, periods) for effect in found]
    store.replace_rows("result.group_time_effect", pl.DataFrame(rows, schema=_SCHEMA, orient="row"))


def _starts(programme: Programme, periods: list[str]) -> pl.DataFrame:
    """site, started (period) and before (the period before it), of sites that started after the first period."""
    kind = programme.settings.period
    rows = []
    for site in programme.settings.site:
        started = period_of(site.started, kind) if site.started else None
        if started in periods[1:]:
            rows.append((site.id, started, periods[periods.index(started) - 1]))
    return pl.DataFrame(rows, schema=["site", "started", "before"], orient="row", schema_overrides=dict.fromkeys(
        ("site", "started", "before"), pl.String))  # fmt: skip


def period_of(day: date, kind: str) -> str:
    """The period of a day as the store names it: 2025Q3 or 2025-07."""
    return f"{day.year}Q{(day.month + 2) // 3}" if kind == "quarter" else f"{day.year}-{day.month:02d}"


def _effects(starts: pl.DataFrame, cells: pl.DataFrame, periods: list[str]) -> list[Effect]:
    sites, number = starts["site"].to_list(), {period: i for i, period in enumerate(periods)}
    n, total, squares = (np.zeros((len(sites), len(periods), len(periods))) for _ in range(3))
    for site, base, later, *sums in cells.select("site", "base", "period", "n", "y", "yy").iter_rows():
        at = sites.index(site), number[base], number[later]
        n[at], total[at], squares[at] = sums
    return group_time_effects([number[period] for period in starts["started"]], n, total, squares)


_SCHEMA = {
    "kind": pl.String, "started": pl.String, "measured_in": pl.String, "event_time": pl.Int16, "n": pl.Int64,
    "comparison_n": pl.Int64, "sites": pl.Int64, "comparison_sites": pl.Int64, "value": pl.Float64, "low": pl.Float64,
    "high": pl.Float64, "p": pl.Float64, "method": pl.String, "flag": pl.String,
}  # fmt: skip


def _row(effect: Effect, periods: list[str]) -> tuple:
    def finite(figure: float) -> float | None:
        return figure if np.isfinite(figure) else None

    is_few = min(effect.sites, effect.comparison_sites) < LEAST_SITES
    return (
        effect.kind,
        periods[effect.start] if effect.start >= 0 else None,
        periods[effect.period] if effect.period >= 0 else None,
        effect.event_time,
        effect.people,
        effect.comparison_people,
        effect.sites,
        effect.comparison_sites,
        finite(effect.value),
        finite(effect.low),
        finite(effect.high),
        finite(effect.p),
        _METHOD.format(least=LEAST_SITES),
        "unreliable" if is_few or not np.isfinite(effect.low) else None,
    )
