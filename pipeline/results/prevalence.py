"""tally.band → result.prevalence."""

from __future__ import annotations

from pipeline import measures
from pipeline.measures import Banding
from pipeline.programme import ProgrammeSettings
from pipeline.statistics.prevalence import prevalence_table
from pipeline.store import Store


def build_prevalence(store: Store, settings: ProgrammeSettings) -> None:
    """Rewrite result.prevalence, in the caller's transaction."""
    band_tally = store.frame("select site, period, sex, age, banding, band, n from tally.band order by all")
    store.replace_rows(
        "result.prevalence", prevalence_table(band_tally, reported_bandings(settings), settings.ages.all)
    )


def reported_bandings(settings: ProgrammeSettings) -> list[Banding]:
    """Every banding; the Asian action points only where the programme asks for them."""
    asks_asian = settings.bandings.adult_bmi == "who-asian"
    return [
        banding for banding in measures.BANDINGS.values() if asks_asian or banding.name != "bmi_adult_asian"
    ]
