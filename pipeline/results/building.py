"""Every result table, one after the other."""

from __future__ import annotations

from collections.abc import Callable

from pipeline.programme import Programme
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


def build_results(store: Store, programme: Programme, progress: Progress) -> None:
    """Rewrite the result tables from the tallies and, where sites are told apart, from the people of each site.

    Runs in the caller's transaction. The same readings and settings give the same rows in the same order.

    Errors   SettingsFault for a standard population that cannot be used, before anything is computed.
    """
    settings = programme.settings
    standard = read_standard(programme)
    build_prevalence(store, settings)
    build_standardised_prevalence(store, settings, standard)
    build_trends(store, settings)
    build_who_position(store, settings)
    build_percentiles(store, settings, progress)
    build_curves(store, settings, progress)
    build_site_comparison(store, programme)
    build_devices(store, programme)
    build_outcomes(store, programme)
