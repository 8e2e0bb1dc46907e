"""Tallies → result.prevalence and result.percentile, unsuppressed, for all sites and for each."""

from __future__ import annotations

from collections.abc import Callable

import polars as pl

from pipeline import measures
from pipeline.measures import Banding
from pipeline.programme import Programme, ProgrammeSettings
from pipeline.statistics.percentile import percentile_table
from pipeline.statistics.prevalence import prevalence_table
from pipeline.store import Store, sql_text

Progress = Callable[[int, int, str], None]


def build_results(store: Store, programme: Programme, progress: Progress) -> None:
    """Rewrite the result tables from the tallies and, for a site's percentiles, from the people of that site.

    Runs in the caller's transaction. The same readings and settings give the same rows in the same order.
    """
    _build_prevalence(store, programme.settings)
    _build_percentiles(store, programme.settings, progress)


def reported_bandings(settings: ProgrammeSettings) -> list[Banding]:
    """Every banding; the Asian action points only where the programme asks for them."""
    asks_asian = settings.bandings.adult_bmi == "who-asian"
    return [
        banding for banding in measures.BANDINGS.values() if asks_asian or banding.name != "bmi_adult_asian"
    ]


def _build_prevalence(store: Store, settings: ProgrammeSettings) -> None:
    band_tally = store.frame("select site, period, sex, age, banding, band, n from tally.band order by all")
    store.replace_rows(
        "result.prevalence", prevalence_table(band_tally, reported_bandings(settings), _age_groups(settings))
    )


def _build_percentiles(store: Store, settings: ProgrammeSettings, progress: Progress) -> None:
    """One population at a time, appended as it is ready: the whole table need not fit in memory twice."""
    sites = [
        site for (site,) in store.rows("select distinct site from reading.participant_period order by site")
    ]
    whole = store.frame("select period, sex, age, measure, value, n from tally.value order by all")
    store.replace_rows("result.percentile", _percentiles(whole, settings, site=None))
    store.execute_file("50_person_value.sql")
    site_value_tally = sql_text("51_site_value_tally.sql")
    for done, site in enumerate(sites, start=1):
        tally = store.frame(site_value_tally, {"site": site})
        with store.lent("site_percentile", _percentiles(tally, settings, site=site)):
            store.execute_file("52_append_site_percentile.sql")
        progress(done, len(sites), f"percentiles of {site}")
    store.execute("drop table person_value")


def _percentiles(tally: pl.DataFrame, settings: ProgrammeSettings, site: str | None) -> pl.DataFrame:
    return percentile_table(
        tally, list(measures.MEASURES.values()), _age_groups(settings), measures.PERCENTILES, site
    )


def _age_groups(settings: ProgrammeSettings) -> list[tuple[int, int]]:
    return [*settings.ages.groups, *settings.ages.totals]
