"""tally.person_value, and the people of each site → result.curve, result.percentile_curve, result.curve_diagnostic."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import polars as pl

from pipeline import measures
from pipeline.programme import ProgrammeSettings
from pipeline.statistics.age_group import SEXES
from pipeline.statistics.curve_table import (
    CURVE_SCHEMA,
    DIAGNOSTIC_SCHEMA,
    PERCENTILE_SCHEMA,
    curve_row,
    diagnostic_rows,
    percentile_curve_rows,
)
from pipeline.statistics.fitted_curve import FittedCurve, fit_curve
from pipeline.statistics.site_part import SumsByAge
from pipeline.store import Store, sql_text

Progress = Callable[[int, int, str], None]
Cells = dict[tuple[str, str], pl.DataFrame]

_UNITS = 10**12  # in which a person's part is rounded to a whole number, so that sums are the same in any order


def build_curves(store: Store, settings: ProgrammeSettings, progress: Progress) -> None:
    """Rewrite the three tables of smooth age curves, in the caller's transaction.

    Errors   StoreFault when a measure that anybody has would have neither a curve nor a reason.
    """
    tally = store.frame(
        "select measure, sex, age, value, n from tally.person_value order by measure, sex, age, value"
    )
    curves = _fitted(tally, progress)
    sites = _sums_of_sites(store, curves)
    least = settings.disclosure.minimum_people_for_percentile
    rows = [curve_row(curve, least) for curve in curves]
    percentiles = [pl.DataFrame(schema=PERCENTILE_SCHEMA)]
    diagnostics = [pl.DataFrame(schema=DIAGNOSTIC_SCHEMA)]
    for curve in curves:
        of_sites = sites.get((curve.measure.name, curve.sex), [])
        percentiles.append(percentile_curve_rows(curve, of_sites, measures.PERCENTILES))
        diagnostics.append(diagnostic_rows(curve, settings.ages.groups, measures.PERCENTILES, of_sites))
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


def _sums_of_sites(store: Store, curves: list[FittedCurve]) -> dict[tuple[str, str], list[SumsByAge]]:
    """By measure and sex of the curves that are drawn: the sums of each site that has anybody in it, by site."""
    drawn = [curve for curve in curves if curve.choice.published != "none"]
    if not drawn:
        return {}
    store.execute_file("34_last_person_value.sql")
    of_sites = sql_text("58_site_curve_sum.sql")
    found = {}
    for name in dict.fromkeys(curve.measure.name for curve in drawn):
        of_measure = [curve for curve in drawn if curve.measure.name == name]
        cells = pl.concat([_cells(curve) for curve in of_measure], how="diagonal")
        with store.lent("curve_cell", cells):
            sums = store.frame(of_sites, {"measure": name})
        for curve in of_measure:
            of_sex = sums.filter(sex=curve.sex).partition_by("site", maintain_order=True)
            found[name, curve.sex] = [_sums(curve, of_site) for of_site in of_sex]
    store.execute("drop table last_person_value")
    return found


def _cells(curve: FittedCurve) -> pl.DataFrame:
    """people, value, and in whole units of 1 / _UNITS what one person of each cell adds to a site's sums."""
    terms = np.rint(curve.terms(curve.age, curve.value, measures.PERCENTILES) * _UNITS).astype(np.int64)
    return pl.DataFrame(
        {
            "people": 256 * (curve.sex == "male") + curve.age.astype(np.int32),
            "value": np.rint(curve.value * curve.measure.steps_per_unit).astype(np.int32),
        }
        | {f"term_{i:02d}": term for i, term in enumerate(terms.T)}
    )


def _sums(curve: FittedCurve, of_site: pl.DataFrame) -> SumsByAge:
    terms = of_site.select(pl.col("^term_.*$")).to_numpy() / _UNITS
    age, people = (of_site[name].to_numpy().astype(float) for name in ("age", "people"))
    return curve.sums_of(age, people, terms[:, ~np.isnan(terms).all(axis=0)], measures.PERCENTILES)


def _by_measure_and_sex(tally: pl.DataFrame) -> Cells:
    return tally.partition_by("measure", "sex", as_dict=True, maintain_order=True)
