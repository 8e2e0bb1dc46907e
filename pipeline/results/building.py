"""Every result table, one after the other."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pipeline.data_quality import build_data_quality
from pipeline.programme import Programme
from pipeline.results.basis import basis_of
from pipeline.results.instrument_check import build_instrument_checks
from pipeline.results.over_periods import build_over_periods
from pipeline.results.percentile import build_percentiles
from pipeline.results.prevalence import build_prevalence
from pipeline.results.site_comparison import build_site_comparison
from pipeline.results.standard import read_standard
from pipeline.results.standardised_prevalence import build_standardised_prevalence
from pipeline.results.trend import build_trends
from pipeline.results.who_position import build_who_position
from pipeline.store import Store
from pipeline.waiting_figures import WorkedOut, last_worked_out

Progress = Callable[[int, int, str], None]


def refresh_results(
    store: Store, programme: Programme, progress: Progress, *, now: WorkedOut, over_periods: bool
) -> None:
    """Bring result.* up to what the store holds: nothing where nothing changed, else what the changes reach.

    Where a period's figures rest on that period alone, they are written anew for the periods whose tallies changed; the
    rest is small and written whole, or rests on all periods (results/over_periods.py) and is written where
    `over_periods` asks for it and readings changed since it was. A change of program, library, settings or profile
    writes everything. The result is that of build_results, row for row (`evenbeam rebuild --check`).

    now: by which run and as of which day, for what is worked out over all periods. Runs in the caller's transaction.

    Errors   as build_results.
    """
    basis = basis_of(programme)
    state = store.rows("select basis, is_current from ledger.result_state")
    is_same_basis = bool(state) and state[0][0] == basis
    if state != [(basis, True)]:
        build_of_periods(store, programme, progress, _stale(store, "stale_period") if is_same_basis else None)
        store.execute_file("41_results_are_current.sql", basis=basis)
    stale = _stale(store, "over_periods_stale") if is_same_basis else None
    if is_same_basis and last_worked_out(store) and not (stale and over_periods):
        return
    build_over_periods(store, programme, progress, stale)
    store.execute_file("41_over_periods_are_current.sql", run_id=now.run_id, as_of=now.as_of)


def _stale(store: Store, table: str) -> list[str]:
    return [period for (period,) in store.rows(f"select period from ledger.{table} order by period")]


def build_results(store: Store, programme: Programme, progress: Progress) -> None:
    """Rewrite every result table from the tallies and, where sites or visits are told apart, from people.

    Runs in the caller's transaction. The same readings and settings give the same rows; their order in a table is
    that in which periods were written, and says nothing.

    Errors   SettingsFault for a standard population that cannot be used, before anything is computed.
    """
    build_of_periods(store, programme, progress)
    build_over_periods(store, programme, progress)


def build_of_periods(
    store: Store, programme: Programme, progress: Progress, periods: Sequence[str] | None = None
) -> None:
    """Rewrite the tables whose rows rest on counts of single periods.

    `periods`: those whose tallies changed since, where the caller knows that nothing else did; None for all.
    """
    settings = programme.settings
    standard = read_standard(programme)
    build_prevalence(store, settings, periods)
    build_standardised_prevalence(store, settings, standard, periods)
    build_trends(store, settings)
    build_who_position(store, settings, periods)
    build_percentiles(store, settings, progress, periods)
    build_site_comparison(store, programme, periods)
    build_instrument_checks(store, programme, periods)
    build_data_quality(store, programme)
