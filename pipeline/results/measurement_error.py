"""Repeat readings and the wobble between visits → result.measurement_error, and the error that is reckoned with."""

from __future__ import annotations

import polars as pl

from pipeline.statistics.measurement_error import MeasurementError, least_reliable_change, technical_error
from pipeline.store import Store, sql_text
from pipeline.visits import MOST_DAYS

LEAST_PAIRS = 30  # fewer of the programme's own say too little: the published default is taken
_UNITS = {"weight": "kg", "body_fat_percent": "%", "fat_mass": "kg", "fat_free_mass": "kg"}
_SAME_VISIT = (
    "technical error of measurement from two readings of one visit, no more than {hours} hours apart (Ulijaszek & Kerr "
    "1999): leaves out what differs from day to day"
)
_BETWEEN_VISITS = (
    "standard deviation of one reading about the line between the visits before and after, at most {days} days apart, "
    "drawn in at three standard deviations: holds error of measurement and what differs from day to day"
)
# Between-day technical errors. Composition: the largest of several laboratory analysers and other methods under
# standardised conditions, 18 adults, "Within- and between-day reliability of laboratory-based body composition
# assessment methods", Br J Nutr (abstract: 0.37 to 1.24 % of body fat, 0.26 to 0.90 kg of fat and fat-free mass).
# Weight: about half a kilogram, Khosla & Billewicz (1964) Br J Nutr 18:227-239 (from memory).
DEFAULTS = {"weight": 0.5, "body_fat_percent": 1.24, "fat_mass": 0.90, "fat_free_mass": 0.90}
_PUBLISHED = {
    "weight": "published default: day-to-day standard deviation, Khosla & Billewicz, Br J Nutr 1964;18:227-39",
    "other": "published default: the largest between-day technical error of several methods in 18 adults, "
    "Br J Nutr, Within- and between-day reliability of laboratory-based body composition assessment methods",
}


def build_measurement_error(store: Store, same_visit_hours: int) -> pl.DataFrame:
    """Rewrite result.measurement_error, in the caller's transaction; returns its rows.

    Used for change is the error between visits, then the published default: readings minutes apart say nothing of
    what differs from day to day, and would call too many changes real.
    """
    rows: list[tuple] = []
    repeats = store.frame(sql_text("57_outcome_repeat.sql"))
    wobbles = store.frame(sql_text("57_outcome_wobble.sql"))
    for row in repeats.iter_rows(named=True):
        found = technical_error(row["n"], row["dd"], 2 * row["n"], row["v"], row["vv"])
        rows.append(
            _row(row["measure"], "same_visit", found, False, _SAME_VISIT.format(hours=same_visit_hours))
        )
    used = set()
    for row in wobbles.iter_rows(named=True):
        # r is scaled to the variance of one reading: 2rr in the place of Σd² gives √(rr/n)
        found = technical_error(row["n"], 2 * row["rr"], row["n"], row["v"], row["vv"])
        is_used = row["n"] >= LEAST_PAIRS and found.error > 0
        used |= {row["measure"]} if is_used else set()
        rows.append(
            _row(row["measure"], "between_visits", found, is_used, _BETWEEN_VISITS.format(days=MOST_DAYS))
        )
    for measure, error in DEFAULTS.items():
        if measure not in used:
            found = MeasurementError(0, error, float("nan"), float("nan"))
            rows.append(_row(measure, "published", found, True, _PUBLISHED.get(measure, _PUBLISHED["other"])))
    table = pl.DataFrame(rows, schema=_SCHEMA, orient="row").sort("measure", "source")
    floats = ("percent_error", "reliability")
    table = table.with_columns(pl.col(name).fill_nan(None) for name in floats)
    store.replace_rows("result.measurement_error", table)
    return table


_SCHEMA = {
    "measure": pl.String, "unit": pl.String, "source": pl.String, "n": pl.Int64, "error": pl.Float64,
    "percent_error": pl.Float64, "reliability": pl.Float64, "smallest_detectable_change": pl.Float64,
    "is_used": pl.Boolean, "method": pl.String, "flag": pl.String,
}  # fmt: skip


def _row(measure: str, source: str, found: MeasurementError, is_used: bool, method: str) -> tuple:
    flag = "unreliable" if 0 < found.pairs < LEAST_PAIRS else None
    return (
        measure, _UNITS[measure], source, found.pairs, found.error, found.percent, found.reliability,
        least_reliable_change(found.error), is_used, method, flag,
    )  # fmt: skip


def least_changes(errors: pl.DataFrame) -> pl.DataFrame:
    """measure and least: the smallest change of one person that is more than error."""
    return errors.filter("is_used").select("measure", least="smallest_detectable_change")


def error_of_weight(errors: pl.DataFrame) -> float:
    """kg, the within-person standard deviation between days."""
    return errors.filter("is_used", measure="weight")["error"].item()
