"""Everybody's last reading → tally.person_value, result.curve, result.percentile_curve, result.curve_diagnostic."""

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
from pipeline.statistics.exact_sum import exact_sums
from pipeline.statistics.fitted_curve import FittedCurve, fit_curve
from pipeline.statistics.site_part import SumsByAge
from pipeline.store import Store, sql_text

Progress = Callable[[int, int, str], None]
Cells = dict[tuple[str, str], pl.DataFrame]

_MALE = 256  # sex and age as one whole number: 34_last_person_value.sql
_UNITS = 10**12  # in which a person's part is rounded to a whole number, so that sums are the same in any order


def build_curves(store: Store, settings: ProgrammeSettings, progress: Progress) -> None:
    """Rewrite tally.person_value and the three tables of smooth age curves, in the caller's transaction.

    Errors   StoreFault when somebody would be counted twice or not at all, or a measure that anybody has would have
             neither a curve nor a reason.
    """
    store.execute_file("34_last_person_value.sql")
    store.execute_file("35_tally_person_value.sql")
    store.require_no_rows("checks/tally_person_value_counts_everybody_once.sql")
    tally = store.frame(
        "select measure, sex, age, value, n from tally.person_value order by measure, sex, age, value"
    )
    curves = _fitted(tally, progress)
    sites = _sums_of_sites(store, curves)
    store.execute("drop table last_person_value")
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
    return {(curve.measure.name, curve.sex): _sums(store, curve) for curve in drawn}


def _sums(store: Store, curve: FittedCurve) -> list[SumsByAge]:
    """The sums of each site that has anybody in the curve, by site; of whole numbers, so that no order matters."""
    terms = np.rint(curve.terms(curve.age, curve.value, measures.PERCENTILES) * _UNITS).astype(np.int64)
    cells = pl.DataFrame({
        "people": _MALE * (curve.sex == "male") + curve.age.astype(np.int32),
        "value": np.rint(curve.value * curve.measure.steps_per_unit).astype(np.int32),
        "row": np.arange(len(terms), dtype=np.int32),
    })  # fmt: skip
    with store.lent("curve_cell", cells):
        people = store.frame(sql_text("58_person_curve_cell.sql"), {"measure": curve.measure.name})
    count = np.bincount(people["who"].to_numpy())
    who, place = np.flatnonzero(count), np.cumsum(count > 0) - 1
    sums = exact_sums(place[people["who"].to_numpy()], people["row"].to_numpy(), terms, len(who)) / _UNITS
    site, age, n = who // (2 * _MALE), (who % _MALE).astype(float), count[who].astype(float)
    begins = np.flatnonzero(np.diff(site, prepend=-1))
    each = [slice(*ends) for ends in zip(begins, np.append(begins, len(site))[1:], strict=True)]
    return [curve.sums_of(age[rows], n[rows], sums[rows], measures.PERCENTILES) for rows in each]


def _by_measure_and_sex(tally: pl.DataFrame) -> Cells:
    return tally.partition_by("measure", "sex", as_dict=True, maintain_order=True)
