"""The published tables: every column's type, title, description, unit and source. Files and codebook come from here.

A column that a table of results has and this file has not does not reach a release.
"""

from __future__ import annotations

from pipeline.release.column import POLARS_TYPES, SIGNIFICANT_DIGITS, Column, Table
from pipeline.release.tables_of_counts import DATA_QUALITY, PERCENTILE, PREVALENCE
from pipeline.release.tables_of_curves import CURVE, CURVE_DIAGNOSTIC, PERCENTILE_CURVE
from pipeline.release.tables_of_outcomes import (
    GROUP_TIME_EFFECT,
    MEASUREMENT_ERROR,
    OUTCOME,
    OUTCOME_SITE,
    RETENTION,
    RETENTION_BALANCE,
    TRANSITION,
)
from pipeline.release.tables_of_sites import DEVICE, INSTRUMENT_CHECK, SITE_COMPARISON, SITE_HETEROGENEITY
from pipeline.release.tables_of_standardised import STANDARDISED_PREVALENCE, TREND, WHO_POSITION

__all__ = ["PERCENTILE", "POLARS_TYPES", "PREVALENCE", "SIGNIFICANT_DIGITS", "TABLES", "Column", "Table"]

TABLES: tuple[Table, ...] = (
    PREVALENCE,
    STANDARDISED_PREVALENCE,
    TREND,
    PERCENTILE,
    CURVE,
    PERCENTILE_CURVE,
    CURVE_DIAGNOSTIC,
    WHO_POSITION,
    SITE_COMPARISON,
    SITE_HETEROGENEITY,
    OUTCOME,
    RETENTION,
    RETENTION_BALANCE,
    TRANSITION,
    OUTCOME_SITE,
    GROUP_TIME_EFFECT,
    MEASUREMENT_ERROR,
    DEVICE,
    DATA_QUALITY,
    INSTRUMENT_CHECK,
)
