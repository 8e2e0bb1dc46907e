"""Where one value stands on the programme's latest published curves, or which value stands at a percentile."""

from __future__ import annotations

import csv
from importlib import resources
from pathlib import Path

import polars as pl
from scipy.special import ndtr, ndtri

from pipeline.faults import Fault, SettingsFault, nearest, printable
from pipeline.measures import MEASURES, Measure
from pipeline.programme import Programme
from pipeline.statistics.individual_position import individual_positions
from pipeline.statistics.who_reference import adjusted_z, month_of, value_at_adjusted_z

WHO_AGES = (5, 19)

Row = tuple[str, float | None, float | None, float | None]


def position(
    path: Path, *, measure: str, sex: str, age: int, value: float | None, percentile: float | None
) -> list[Row]:
    """(reference, value, z, percentile) on the programme's curves and, for BMI from 5 to 19, on WHO Reference 2007.

    Give a value or a percentile; the other is found. Only the release is read, never the store.

    Units    value in the measure's unit; percentile from 0 to 100, both ends excluded.
    Missing  z and percentile, or value, are None beyond the outermost percentile of a regression-quantile curve.
    Errors   SettingsFault naming the choices for an unknown measure; Fault when nothing is published, or no curve at
             this age.
    """
    programme = Programme.read(path)
    if measure not in MEASURES:
        raise SettingsFault(
            f"no measure {printable(measure)}",
            expected=f"a measure{nearest(measure, MEASURES)}",
            next="give one of those",
        )
    if value is not None and value <= 0 and measure != "bmi_z":  # the one measure with values on both sides of 0
        raise SettingsFault(
            "no such value",
            found=f"{value:g}",
            expected=f"{MEASURES[measure].title.lower()} above 0 in {MEASURES[measure].unit}",
            next="correct the value",
        )
    asked = {"value": value} if percentile is None else {"percentile": percentile}
    person = pl.DataFrame({"measure": [measure], "sex": [sex], "age": [age]} | {k: [v] for k, v in asked.items()})
    curves = _published(programme, "percentile_curve")
    here = curves.filter(measure=measure, sex=sex, age=age).drop_nulls("value")
    if here.is_empty():
        raise _no_curve(programme, curves, MEASURES[measure], sex, age)
    found = individual_positions(curves, person).row(0, named=True)
    rows = [(here["method"][0], found["value"], found["z"], found["percentile"])]
    if measure == "bmi" and WHO_AGES[0] <= age <= WHO_AGES[1]:
        rows.append(_on_who_reference(sex, age, value, percentile))
    return rows


def _published(programme: Programme, table: str) -> pl.DataFrame:
    """One table of the latest release."""
    path = programme.published / "latest" / "data" / f"{table}.parquet"
    if not path.exists():
        raise Fault(
            "nothing published yet", where=str(path), expected="a release", next="evenbeam run PROGRAMME.toml"
        )
    return pl.read_parquet(path, glob=False)


def _no_curve(programme: Programme, curves: pl.DataFrame, measure: Measure, sex: str, age: int) -> Fault:
    """Why there is nothing to stand on: the ages that are drawn, or the reason that the release gives for none."""
    drawn = curves.filter(measure=measure.name, sex=sex).drop_nulls("value")["age"]
    if len(drawn):
        expected = f"an age from {drawn.min()} to {drawn.max()} with enough people near it"
    else:
        reasons = _published(programme, "curve").filter(measure=measure.name, sex=sex)["why"].drop_nulls()
        expected = "a curve of this measure and sex; none is published" + (f" ({reasons[0]})" if len(reasons) else "")
    return Fault(
        "no published curve here",
        where=f"{measure.name}, {sex}, age {age}",
        expected=expected,
        next="ask at another age, or collect more readings",
    )


def _on_who_reference(sex: str, age: int, value: float | None, percentile: float | None) -> Row:
    month = month_of(age)
    with (resources.files("pipeline.reference") / "who_2007_bmi_for_age.csv").open(encoding="utf-8") as file:
        l, m, s = next(
            (float(row["l"]), float(row["m"]), float(row["s"]))
            for row in csv.DictReader(file)
            if row["sex"] == sex and int(row["month"]) == month
        )
    z = float(adjusted_z(value, l, m, s)) if percentile is None else float(ndtri(percentile / 100))
    at = value if percentile is None else float(value_at_adjusted_z(z, l, m, s))
    return f"WHO 2007 BMI-for-age at {month} months", at, z, 100 * float(ndtr(z))
