"""Every result table, one after the other."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pipeline.data_quality import build_data_quality
from pipeline.programme import Programme
from pipeline.results.basis import basis_of, results_are_current
from pipeline.results.curve import build_curves
from pipeline.results.device import build_devices
from pipeline.results.outcome import build_outcomes
from pipeline.results.percentile import build_percentiles
from pipeline.results.prevalence import build_prevalence
from pipeline.results.site_comparison import build_site_comparison
from pipeline.results.standard import read_standard
from pipeline.results.standardised_prevalence import build_standardised_prevalence
from pipeline.results.trend import build_trends
from pipeline.results.who_position import build_who_position
from pipeline.store import Store

Progress = Callable[[int, int, str], None]


def refresh_results(store: Store, programme: Programme, progress: Progress) -> None:
    """Bring result.* up to what the store holds: nothing where nothing changed, else what the changes reach.

    Where a period's figures rest on that period alone, they are written anew for the periods whose tallies changed; the
    rest is small, or rests on people's whole histories, and is written whole. A change of program, library, settings or
    profile writes all of it. The result is that of build_results, row for row (`evenbeam rebuild --check`). Runs in the
    caller's transaction.

    Errors   as build_results.
    """
    if results_are_current(store, programme):
        return
    basis = basis_of(programme)
    stale = [period for (period,) in store.rows("select period from ledger.stale_period order by period")]
    is_same_basis = store.value("select basis from ledger.result_state") == basis
    build_results(store, programme, progress, periods=stale if is_same_basis else None)
    store.execute_file("41_results_are_current.sql", basis=basis)


def build_results(
    store: Store, programme: Programme, progress: Progress, periods: Sequence[str] | None = None
) -> None:
    """Rewrite the result tables from the tallies and, where sites are told apart, from the people of each site.

    `periods`: those whose tallies changed since, where the caller knows that nothing else did; None for all.
    Runs in the caller's transaction. The same readings and settings give the same rows; their order in a table is
    that in which periods were written, and says nothing.

    Errors   SettingsFault for a standard population that cannot be used, before anything is computed.
    """
    settings = programme.settings
    standard = read_standard(programme)
    build_prevalence(store, settings, periods)
    build_standardised_prevalence(store, settings, standard, periods)
    build_trends(store, settings)
    build_who_position(store, settings, periods)
    build_percentiles(store, settings, progress, periods)
    build_curves(store, settings, progress)
    build_site_comparison(store, programme, periods)
    build_devices(store, programme, periods)
    build_outcomes(store, programme)
    build_data_quality(store, programme)
