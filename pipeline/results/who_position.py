"""The z-scores of 5- to 19-year-olds, by site → result.who_position."""

from __future__ import annotations

from pipeline import measures
from pipeline.programme import ProgrammeSettings
from pipeline.statistics.who_position import centile_edges, who_position_table
from pipeline.store import Store, sql_text


def build_who_position(store: Store, settings: ProgrammeSettings) -> None:
    """Rewrite result.who_position, in the caller's transaction."""
    edges = centile_edges(measures.PERCENTILES, measures.MEASURES["bmi_z"].steps_per_unit)
    with store.lent("centile", edges):
        counts = store.frame(sql_text("59_who_position.sql"))
    store.replace_rows("result.who_position", who_position_table(counts, settings.ages.all))
