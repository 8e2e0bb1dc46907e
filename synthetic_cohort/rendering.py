"""Rows → the columns of a file: text as the site writes it, or typed values, under the site's own headers."""

from __future__ import annotations

import numpy as np
import polars as pl

from synthetic_cohort.analysers import Analysers
from synthetic_cohort.layouts import Layout
from synthetic_cohort.participant_numbers import as_written
from synthetic_cohort.rows import Rows
from synthetic_cohort.visits import FIRST_DAY

_WHOLE = {"age", "basal_metabolic_rate", "metabolic_age", "visceral_fat_level", "resting_heart_rate"}


def typed_columns(rows: Rows, layout: Layout, analysers: Analysers) -> pl.DataFrame:
    """The file's columns with their types: numbers, dates and times, words. Missing values are null."""
    columns = [_typed(name, rows, layout, analysers).alias(header) for name, header in layout.headers.items()]
    return pl.DataFrame(columns + _extra(rows, layout))


def text_columns(rows: Rows, layout: Layout, analysers: Analysers) -> pl.DataFrame:
    """The file's columns as the site writes them; a missing value is the site's mark for it."""
    columns = []
    for name, header in layout.headers.items():
        series = _typed(name, rows, layout, analysers)
        if layout.written_units and name in ("height", "weight"):
            series = _in_words(series, name)
        elif series.dtype.is_numeric():
            series = _number_text(series, layout, _is_whole(name, layout))
        elif series.dtype.is_temporal():
            series = series.dt.strftime(layout.date_format)
        columns.append(series.fill_null(layout.missing).alias(header))
    return pl.DataFrame(columns + _extra(rows, layout))


def _extra(rows: Rows, layout: Layout) -> list[pl.Series]:
    return [pl.repeat(text, len(rows), eager=True).alias(header) for header, text in layout.extra]


def _typed(name: str, rows: Rows, layout: Layout, analysers: Analysers) -> pl.Series:
    values = rows.values
    if name == "participant":
        return as_written(values["participant"], layout.scope)
    if name == "measured_on":
        return _moment(values["minute"], layout)
    if name == "sex":
        return _words(values["sex"], (layout.sex_words["male"], layout.sex_words["female"]))
    if name == "athlete_mode":
        return _words(values["athlete"], (layout.yes_no_words["no"], layout.yes_no_words["yes"]))
    if name == "device":
        return _words(values["device"], analysers.names)
    series = pl.Series(values[name], nan_to_null=True)
    # A slip can put a fraction into a column of whole numbers: then the column stays as it is.
    return (
        series.cast(pl.Int64) if _is_whole(name, layout) and (series.drop_nulls() % 1 == 0).all() else series
    )


def _is_whole(name: str, layout: Layout) -> bool:
    return name in _WHOLE or (name == "height" and layout.height_step >= 1)


def _moment(minute: np.ndarray, layout: Layout) -> pl.Series:
    moments = FIRST_DAY.astype("datetime64[m]") + minute.astype("timedelta64[m]")
    series = pl.Series(moments.astype("datetime64[ms]")).set(pl.Series(minute < 0), None)
    if layout.format == "ndjson":
        return series.dt.strftime(layout.date_format)
    return series


def _words(code: np.ndarray, words: tuple[str, ...]) -> pl.Series:
    known = pl.Series(code, dtype=pl.Int64).set(pl.Series(code < 0), None)
    return known.replace_strict(dict(enumerate(words)), return_dtype=pl.String)


def _number_text(series: pl.Series, layout: Layout, is_whole: bool) -> pl.Series:
    text = series.cast(pl.String)
    if is_whole and series.dtype.is_float():
        text = text.str.strip_suffix(".0")
    if layout.thousands:
        text = text.str.replace(r"^(\d+)(\d{3})(\.\d+)?$", "${1}" + layout.thousands + "${2}${3}")
    return text.str.replace(".", layout.decimal, literal=True) if layout.decimal != "." else text


def _in_words(series: pl.Series, name: str) -> pl.Series:
    """11 st 4.2 lb, or 5 ft 9.5 in."""
    parts, words = (14, ("st", "lb")) if name == "weight" else (12, ("ft", "in"))
    whole = (series / parts).floor()
    rest = (series - whole * parts).round(1)
    frame = pl.DataFrame({"whole": whole.cast(pl.Int64), "rest": rest})
    return frame.select(pl.format(f"{{}} {words[0]} {{}} {words[1]}", "whole", "rest")).to_series()
