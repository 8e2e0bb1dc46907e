"""Every promise of sql/checks/ on readings and tallies, asked of what may have broken it.

What no file touched was not written, and keeps what it promised. So a usual night asks of the periods that it wrote.
Of the whole store is asked on the first run, by another program than the last one, by a rebuild, before a period is
frozen, and when a week has gone since: then also what nobody meant to touch, as by hand, is found.
"""

from __future__ import annotations

from datetime import date

from pipeline.store import Store

DAYS_BETWEEN = 7  # that everything is asked of the whole store

_OF_PERIODS = (
    "participant_period_is_unique",
    "tally_value_counts_everybody",
    "bands_cover_everybody",
    "moments_agree_with_values",
)
_OF_FILES = ("no_orphan_set_aside", "file_accounting_adds_up", "sites_are_known")  # whole: they cost little
_OF_EVERYBODY = ("people_are_counted_once",)  # asked of the whole store alone: it costs as much as counting them


def require_promises(store: Store) -> None:
    """Ask what the run may have broken, in the caller's transaction.

    `touched_period` says which periods were written, ledger.file which files are being built.
    Errors   StoreFault when a promise is broken.
    """
    today = store.value("select started_at::date from ledger.run order by run_id desc limit 1")
    is_whole = _is_whole_due(store, today)
    touched = [period for (period,) in store.rows("select period from touched_period order by period")]
    has_files = store.value("select exists (from ledger.file where not is_built)")
    asked = [*(_OF_PERIODS if is_whole or touched else ())]
    asked += _OF_FILES if is_whole or touched or has_files else ()
    asked += _OF_EVERYBODY if is_whole else ()
    for promise in asked:
        store.require_no_rows(f"checks/{promise}.sql", periods=None if is_whole else touched)
    if is_whole:
        store.execute("update ledger.count_state set checked_on = $today", {"today": today})


def _is_whole_due(store: Store, today: date | None) -> bool:
    last = store.value("select checked_on from ledger.count_state")
    return last is None or today is None or not 0 <= (today - last).days < DAYS_BETWEEN
