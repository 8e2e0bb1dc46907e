"""Figures over all periods that wait for their day: what they rest on, and when they are worked out again.

Curves, analysers' charts and outcomes rest on people's readings over all periods, so that one reading more moves all of
them. `[results] over_periods_every_days` lets a run leave them as they are for so many days.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from pipeline.programme import Programme
from pipeline.store import Store


@dataclass(frozen=True)
class WorkedOut:
    """When figures over all periods are worked out: from the files of the runs up to this one."""

    run_id: int
    as_of: date


def last_worked_out(store: Store) -> WorkedOut | None:
    """None: never, or something left the store since that they must not tell of any more."""
    rows = store.rows("select run_id, as_of from ledger.over_periods_state")
    return WorkedOut(*rows[0]) if rows else None


def resting_on(store: Store) -> date | None:
    """The day as of which figures over all periods were worked out, where readings came since; else None."""
    if not store.value("select exists (from ledger.over_periods_stale)"):
        return None
    last = last_worked_out(store)
    return last.as_of if last else None


def said_of(day: date | str) -> str:
    """What figures over all periods rest on, in the words of every message; pages have the same in their language."""
    return f"curves, analysers and outcomes rest on what had come by {day}"


def due_on(programme: Programme, worked_out: date) -> date:
    return worked_out + timedelta(days=programme.settings.results.over_periods_every_days)


def are_due(store: Store, programme: Programme, as_of: date) -> bool:
    """Must figures over all periods be worked out by a run of this day?

    Not where they rest on everything that is there, nor before their day.
    """
    last = last_worked_out(store)
    if last is None:
        return True
    waits = store.value("select exists (from ledger.over_periods_stale)")
    return waits and as_of >= due_on(programme, last.as_of)
