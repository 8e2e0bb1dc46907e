"""People's readings over time → result.outcome and what stands beside it."""

from __future__ import annotations

import polars as pl

from pipeline import measures
from pipeline.programme import ADULT_FROM, FollowUp, Programme
from pipeline.results.group_time_effect import build_group_time_effects
from pipeline.results.measurement_error import build_measurement_error, error_of_weight, least_changes
from pipeline.results.outcome_site import build_outcome_sites
from pipeline.results.plain_number import without_nan
from pipeline.results.retention import build_retention, build_retention_balance
from pipeline.results.transition import build_transitions
from pipeline.statistics.outcome_table import Changes, outcome_table
from pipeline.statistics.retention_weights import return_chance
from pipeline.store import Store, sql_text
from pipeline.visits import PATIENCE_DAYS, site_starts

STAGES = {"adults": (ADULT_FROM, measures.AGE_HIGH), "children": (measures.AGE_LOW, ADULT_FROM - 1)}
_TEMPORARY = (
    "outcome_site", "outcome_analyser", "outcome_chance", "outcome_follow_up", "outcome_due", "outcome_change",
    "outcome_weight", "outcome_seen",
)  # fmt: skip


def build_outcomes(store: Store, programme: Programme) -> None:
    """Rewrite the tables of outcomes, in the caller's transaction. Visits and result.device must be built before.

    Errors   StoreFault when somebody who entered lacks a follow-up's row or has two: nothing is changed then.
    """
    outcomes = programme.settings.outcomes
    with store.lent("site_start", site_starts(programme)):
        for table in ("site", "analyser"):
            store.execute_file(f"57_outcome_{table}.sql")
    errors = build_measurement_error(store, outcomes.same_visit_hours)
    _reckon_chances(store)
    statuses, transitions = [], []
    with store.lent("reliable_change", least_changes(errors)):
        for window in sorted(outcomes.follow_up, key=lambda window: window.months):
            _follow_up(store, window)
            statuses.append(store.frame(sql_text("57_outcome_status.sql")))
            transitions.append(store.frame(sql_text("57_outcome_transition.sql")))
    changes = Changes(
        moment=store.frame(sql_text("57_outcome_moment.sql")),
        fat_share=store.frame(sql_text("57_outcome_fat_share.sql")),
        season=store.frame(sql_text("57_outcome_season.sql")),
        entry=store.frame(sql_text("57_outcome_entry.sql")),
        improvement=outcomes.improvement,
        weight_error_kg=error_of_weight(errors),
        ages=STAGES,
        target=(outcomes.target.months, outcomes.target.share_losing_5_percent) if outcomes.target else None,
    )
    store.replace_rows("result.outcome", without_nan(outcome_table(changes)))
    build_retention(store, STAGES, pl.concat(statuses))
    build_retention_balance(store)
    build_transitions(store, pl.concat(transitions))
    build_outcome_sites(store, outcomes.target)
    build_group_time_effects(store, programme)
    for table in _TEMPORARY:
        store.execute(f"drop table {table}")


def _reckon_chances(store: Store) -> None:
    """Leave outcome_chance: SQL counts visits by class, and each class gets its chance of another."""
    strata = store.frame(sql_text("57_outcome_return.sql"), {"patience_days": PATIENCE_DAYS})
    chance = return_chance(strata).select("chance", stratum=strata["stratum"])
    with store.lent("return_chance", chance):
        store.execute_file("57_outcome_chance.sql")


def _follow_up(store: Store, window: FollowUp) -> None:
    """Leave a row a person of one follow-up, and of it in outcome_due and outcome_seen what all of them come to.

    One follow-up after the other: the rows of everybody at all of them need not fit in memory.
    """
    asked = pl.DataFrame(
        [(window.months, window.day, window.tolerance_days)],
        schema={"months": pl.Int16, "day": pl.Int32, "tolerance_days": pl.Int32},
        orient="row",
    )
    with store.lent("follow_up_window", asked):
        for table in ("follow_up", "due", "change"):
            store.execute_file(f"57_outcome_{table}.sql")
        store.require_no_rows("checks/outcome_follow_up_is_complete.sql")
    for table in ("weight", "seen"):
        store.execute_file(f"57_outcome_{table}.sql")
