"""tally.person_value, and the people of each site → result.curve, result.percentile_curve, result.curve_diagnostic."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import polars as pl

from pipeline import measures
from pipeline.programme import ProgrammeSettings
from pipeline.statistics.age_group import SEXES
from pipeline.statistics.curve_coverage import PeopleBelow
from pipeline.statistics.curve_table import (
    CURVE_SCHEMA,
    DIAGNOSTIC_SCHEMA,
    PERCENTILE_SCHEMA,
    curve_row,
    diagnostic_groups,
    diagnostic_rows,
    percentile_curve_rows,
)
from pipeline.statistics.fitted_curve import FittedCurve, fit_curve
from pipeline.statistics.site_part import SitePart
from pipeline.store import Store, sql_text

Progress = Callable[[int, int, str], None]
Cells = dict[tuple[str, str], pl.DataFrame]


def build_curves(store: Store, settings: ProgrammeSettings, progress: Progress) -> None:
    """Rewrite the three tables of smooth age curves, in the caller's transaction.

    Errors   StoreFault when a measure that anybody has would have neither a curve nor a reason.
    """
    tally = store.frame(
        "select measure, sex, age, value, n from tally.person_value order by measure, sex, age, value"
    )
    curves = _fitted(tally, progress)
    of_sites = _of_sites(store, settings, curves)
    least = settings.disclosure.minimum_people_for_percentile
    rows = [curve_row(curve, least) for curve in curves]
    percentiles = [pl.DataFrame(schema=PERCENTILE_SCHEMA)]
    diagnostics = [pl.DataFrame(schema=DIAGNOSTIC_SCHEMA)]
    for curve, found in zip(curves, of_sites, strict=True):
        percentiles.append(percentile_curve_rows(curve, found.parts, measures.PERCENTILES))
        diagnostics.append(
            diagnostic_rows(curve, settings.ages.groups, measures.PERCENTILES, found.people_below)
        )
    store.replace_rows("result.curve", pl.DataFrame(rows, schema=CURVE_SCHEMA, orient="row"))
    store.replace_rows("result.percentile_curve", pl.concat(percentiles))
    store.replace_rows("result.curve_diagnostic", pl.concat(diagnostics))
    store.require_no_rows("checks/every_counted_measure_has_a_curve_row.sql")


def _fitted(tally: pl.DataFrame, progress: Progress) -> list[FittedCurve]:
    """One curve a sex for every measure that anybody has."""
    cells = _by_measure_and_sex(tally)
    named = [m for m in measures.MEASURES.values() if any((m.name, sex) in cells for sex in SEXES)]
    curves = []
    for done, measure in enumerate(named, start=1):
        for sex in SEXES:
            here = cells.get((measure.name, sex), tally.clear())
            age, value, n = (here[name].to_numpy() for name in ("age", "value", "n"))
            curves.append(fit_curve(measure, sex, age, value, n, measures.PERCENTILES))
        progress(done, len(named), f"curves of {measure.title.lower()}")
    return curves


@dataclass
class OfSites:
    """Of each site that has anybody in a curve: its part of the fit, and its people below."""

    parts: list[SitePart] = field(default_factory=list)
    people_below: list[PeopleBelow] = field(default_factory=list)


def _of_sites(store: Store, settings: ProgrammeSettings, curves: list[FittedCurve]) -> list[OfSites]:
    """What each curve needs of the sites, a site at a time; nothing of a curve that is not drawn."""
    of_sites = [OfSites() for _ in curves]
    if all(curve.choice.published == "none" for curve in curves):
        return of_sites
    store.execute_file("34_last_person_value.sql")
    one_site = sql_text("58_site_person_value.sql")
    for (site,) in store.rows("select distinct site from last_person_value order by site"):
        cells = _by_measure_and_sex(store.frame(one_site, {"site": site}))
        for curve, found in zip(curves, of_sites, strict=True):
            here = cells.get((curve.measure.name, curve.sex))
            if here is None or curve.choice.published == "none":
                continue
            age, steps, n = (here[name].to_numpy().astype(float) for name in ("age", "value", "n"))
            value = steps / curve.measure.steps_per_unit
            groups = diagnostic_groups(curve, settings.ages.groups)
            found.people_below.append(curve.below_of_site(age, value, n, measures.PERCENTILES, groups))
            found.parts.append(curve.part_of_site(age, value, n))
    store.execute("drop table last_person_value")
    return of_sites


def _by_measure_and_sex(tally: pl.DataFrame) -> Cells:
    return tally.partition_by("measure", "sex", as_dict=True, maintain_order=True)
