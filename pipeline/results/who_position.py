"""The z-scores of 5- to 19-year-olds, by site → result.who_position."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import measures
from pipeline.programme import ProgrammeSettings
from pipeline.results.by_period import rewrite_periods
from pipeline.statistics.who_position import centile_edges, who_position_table
from pipeline.store import Store, sql_text


def build_who_position(
    store: Store, settings: ProgrammeSettings, periods: Sequence[str] | None = None
) -> None:
    """Rewrite result.who_position, of all periods or of those given, in the caller's transaction."""
    counted = sql_text("59_who_position.sql")
    with store.lent("centile", centile_edges(measures.PERCENTILES, measures.MEASURES["bmi_z"].steps_per_unit)):
        rewrite_periods(
            store,
            "result.who_position",
            periods,
            lambda period: who_position_table(store.frame(counted, {"period": period}), settings.ages.all),
        )
