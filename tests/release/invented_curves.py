"""A few invented rows of the tables that are worked out of counts, as result.* holds them, none of them withheld."""

from __future__ import annotations

import polars as pl

_TEXT = {"flag": pl.String, "site": pl.String, "low": pl.Float64, "high": pl.Float64}


def _rows(rows: list[dict]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema_overrides={k: v for k, v in _TEXT.items() if k in rows[0]})


def derived() -> dict[str, pl.DataFrame]:
    """table → rows; they fit the prevalence and percentiles of invented_store."""
    adults = {"sex": "all", "age_from": 20, "age_to": 99}
    band = {"banding": "visceral_fat", "band": "excess", **adults}
    curve = {"measure": "bmi", "unit": "kg/m2", "sex": "female"}
    limits = {"low": 0.13, "high": 0.22}
    return {
        "standardised_prevalence": _rows(
            [
                {
                    **band, "population": "all", "site": None, "period": "2025Q1", "standard": "who-world",
                    "n": 34, "denominator": 200, "proportion": 0.171, **limits, "method": "direct", "flag": None,
                    "person_weight": 0.006,
                }
            ]
        ),
        "trend": _rows(
            [
                {
                    **band, "period_from": "2025Q1", "period_to": "2025Q2", "periods": 2, "n": 34, "denominator": 200,
                    "odds_ratio": 1.02, "low": 0.9, "high": 1.2, "points_a_period": 0.002, "p": 0.4,
                    "method": "logistic trend", "flag": None,
                }
            ]
        ),
        "curve": _rows(
            [
                {
                    **curve, "n": 1234, "age_from": 5, "age_to": 90, "method": "lms", "why": "the family holds",
                    "flag": None,
                }
            ]
        ),
        "percentile_curve": _rows(
            [
                {
                    **curve, "age": 30, "percentile": p, "value": value, "low": value - 1, "high": value + 1,
                    "n": 345, "method": "LMS", "flag": None,
                }
                for p, value in ((3, 18.25), (50, 26.1))
            ]
        ),
        "curve_diagnostic": _rows(
            [
                {
                    "measure": "bmi", "sex": "female", "age_from": 20, "age_to": 29, "diagnostic": diagnostic,
                    "at": at, "observed": observed, "expected": expected, "low": observed - 0.1,
                    "high": observed + 0.1, "n": 345, "flag": None,
                }
                for diagnostic, at, observed, expected in (("share_below", 50.0, 0.49, 0.5), ("worm", 0.0, 0.02, 0.0))
            ]
        ),
        "who_position": _rows(
            [
                {
                    "period": "2025Q1", "sex": "all", "age_from": 5, "age_to": 19, "percentile": 85, "n": 77,
                    "denominator": 100, "proportion": 0.77, "low": 0.7, "high": 0.83, "expected": 0.85,
                    "method": "WHO 2007", "flag": None,
                }
            ]
        ),
    }  # fmt: skip
