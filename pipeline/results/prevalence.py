"""tally.band_of_ages → result.prevalence."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import measures
from pipeline.measures import Banding
from pipeline.programme import ProgrammeSettings
from pipeline.results.by_period import band_tally, rewrite_periods
from pipeline.statistics.prevalence import prevalence_table
from pipeline.store import Store


def build_prevalence(
    store: Store, settings: ProgrammeSettings, periods: Sequence[str] | None = None
) -> None:
    """Rewrite result.prevalence, of all periods or of those given, in the caller's transaction."""
    bandings = reported_bandings(settings)
    rewrite_periods(
        store,
        "result.prevalence",
        periods,
        lambda period: prevalence_table(band_tally(store, period), bandings, settings.ages.all),
    )


def reported_bandings(settings: ProgrammeSettings) -> list[Banding]:
    """Every banding; the Asian action points only where the programme asks for them."""
    asks_asian = settings.bandings.adult_bmi == "who-asian"
    return [
        banding for banding in measures.BANDINGS.values() if asks_asian or banding.name != "bmi_adult_asian"
    ]
