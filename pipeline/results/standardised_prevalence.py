"""tally.band_of_ages → result.standardised_prevalence."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.programme import ProgrammeSettings
from pipeline.results.by_period import band_tally, rewrite_periods
from pipeline.results.prevalence import reported_bandings
from pipeline.results.standard import Standard
from pipeline.statistics.standardised_table import standardised_table
from pipeline.store import Store


def build_standardised_prevalence(
    store: Store, settings: ProgrammeSettings, standard: Standard, periods: Sequence[str] | None = None
) -> None:
    """Rewrite result.standardised_prevalence, of all periods or of those given, in the caller's transaction."""
    bandings, groups = reported_bandings(settings), settings.ages.groups
    rewrite_periods(
        store,
        "result.standardised_prevalence",
        periods,
        lambda period: standardised_table(
            band_tally(store, period), bandings, groups, standard.totals, standard.name, standard.bands
        ),
    )
