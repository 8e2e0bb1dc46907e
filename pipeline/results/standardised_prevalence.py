"""tally.band → result.standardised_prevalence."""

from __future__ import annotations

from pipeline.programme import ProgrammeSettings
from pipeline.results.prevalence import reported_bandings
from pipeline.results.standard import Standard
from pipeline.statistics.standardised_table import standardised_table
from pipeline.store import Store


def build_standardised_prevalence(store: Store, settings: ProgrammeSettings, standard: Standard) -> None:
    """Rewrite result.standardised_prevalence, in the caller's transaction."""
    band_tally = store.frame("select site, period, sex, age, banding, band, n from tally.band order by all")
    rows = standardised_table(
        band_tally,
        reported_bandings(settings),
        settings.ages.groups,
        standard.totals,
        standard.name,
        standard.bands,
    )
    store.replace_rows("result.standardised_prevalence", rows)
