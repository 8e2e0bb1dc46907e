"""The tables of outcomes with invented figures, added to an invented release. Mechanics only."""

from __future__ import annotations

import json
from itertools import product
from pathlib import Path

import polars as pl

from pipeline import measures
from pipeline.release.tables_of_outcomes import (
    GROUP_TIME_EFFECT,
    MEASUREMENT_ERROR,
    OUTCOME,
    OUTCOME_SITE,
    RETENTION,
    RETENTION_BALANCE,
    TRANSITION,
)

TABLES = {
    table.name: table
    for table in (
        OUTCOME,
        RETENTION,
        RETENTION_BALANCE,
        TRANSITION,
        OUTCOME_SITE,
        GROUP_TIME_EFFECT,
        MEASUREMENT_ERROR,
    )
}
MONTHS = (3, 12)
SHIFT = {
    "completers": 1.0,
    "retention_weighted": 0.8,
    "carried_forward": 0.3,
    "less_regression_to_mean": 0.95,
    "same_season": 1.0,
    "without_signals": 1.05,
    "less_analyser_differences": 0.9,
}
EFFECTS = {
    "none": (),
    "few": ("unreliable", (-1.0, -2.0, -0.1), (0.1, -0.4, 0.6)),
    "firm": (None, (-1.0, -1.6, -0.4), (0.1, -0.4, 0.6)),
    "differed": (None, (-1.0, -1.6, -0.4), (-0.9, -1.4, -0.4)),
    "unclear": (None, (-0.2, -0.9, 0.5), (0.1, -0.4, 0.6)),
}


def add_outcomes(folder: Path, *, effects: str = "few", direction: str = "down") -> Path:
    """Write the tables into the folder of an invented release, and name them in its release.json."""
    facts = json.loads((folder / "release.json").read_text(encoding="utf-8"))
    rows = {
        "outcome": _outcome(direction),
        "retention": _retention(),
        "retention_balance": _balance(),
        "transition": _transition(),
        "outcome_site": _sites([site["id"] for site in facts["sites"]]),
        "group_time_effect": _effects(effects),
        "measurement_error": _error(),
    }
    for name, found in rows.items():
        columns = TABLES[name].columns
        kinds = {"string": pl.String, "integer": pl.Int64, "number": pl.Float64}
        schema = {column.name: kinds[column.type] for column in columns}
        frame = pl.DataFrame([dict.fromkeys(schema) | row for row in found], schema=schema)
        frame.write_parquet(folder / "data" / f"{name}.parquet")
        facts["tables"].append(
            {
                "name": name,
                "title": TABLES[name].title,
                "description": TABLES[name].description,
                "rows": frame.height,
                "columns": [
                    {"name": c.name, "title": c.title, "description": c.description, "unit": c.unit}
                    for c in columns
                ],
            }
        )
    (folder / "release.json").write_text(json.dumps(facts), encoding="utf-8")
    return folder


def _outcome(direction: str) -> list[dict]:
    rows = []
    for months, start, sex in product(MONTHS, ("all", "bmi_25"), ("all", "female", "male")):
        adult = {
            "months": months,
            "start": start,
            "sex": sex,
            "age_from": 20,
            "age_to": 99,
            "n": 400,
            "denominator": 900,
            "method": "those seen",
            "direction": direction if start == "bmi_25" else None,
        }
        for estimator, part in SHIFT.items():
            value = -0.2 * months * part
            rows.append(
                adult
                | {
                    "measure": "weight",
                    "unit": "kg",
                    "statistic": "mean_change",
                    "estimator": estimator,
                    "value": value,
                    "low": value - 0.5,
                    "high": value + 0.5,
                }
            )
        for measure, value in (("fat_mass", -1.5), ("fat_free_mass", -0.4)):
            rows.append(
                adult
                | {
                    "measure": measure,
                    "unit": "kg",
                    "statistic": "mean_change",
                    "estimator": "completers",
                    "value": value,
                    "low": value - 0.3,
                    "high": value + 0.3,
                }
            )
        if start == "all":
            continue
        rows.append(
            adult
            | {
                "measure": "weight",
                "unit": "kg",
                "statistic": "regression_to_mean",
                "estimator": "expected",
                "value": -0.05,
            }
        )
        rows.append(
            adult
            | {
                "measure": "fat_mass",
                "unit": "1",
                "statistic": "fat_share_of_loss",
                "estimator": "completers",
                "value": 0.75,
                "low": 0.7,
                "high": 0.8,
            }
        )
        parts = (("fell", 0.5), ("unchanged", 0.4), ("rose", 0.1), ("lost_5_percent", 0.25))
        for (statistic, share), estimator in product(
            parts, ("completers", "retention_weighted", "carried_forward")
        ):
            hidden = sex == "male"
            share = share * SHIFT[estimator]
            rows.append(
                adult
                | {
                    "measure": "weight",
                    "unit": "1",
                    "statistic": statistic,
                    "estimator": estimator,
                    "flag": "withheld" if hidden else None,
                }
                | (
                    {"n": None, "denominator": None}
                    if hidden
                    else {"value": share, "low": share * 0.8, "high": share * 1.2}
                )
            )
    reached = (("completers", 0.6), ("retention_weighted", 0.4), ("carried_forward", 0.1))
    head = {"months": 12, "measure": "weight", "unit": "1", "statistic": "reached_target", "start": "bmi_25"}
    ages = {"sex": "all", "age_from": 20, "age_to": 99, "n": 400, "denominator": 900, "method": "m"}
    rows += [head | ages | {"estimator": estimator, "value": value} for estimator, value in reached]
    for months, sex, estimator in product(
        MONTHS, ("all", "female", "male"), ("completers", "carried_forward")
    ):
        rows.append(
            {
                "months": months,
                "measure": "bmi_z",
                "unit": "1",
                "statistic": "mean_change",
                "start": "all",
                "sex": sex,
                "age_from": 5,
                "age_to": 19,
                "estimator": estimator,
                "n": 100,
                "denominator": 200,
                "value": 0.01,
                "low": -0.02,
                "high": 0.04,
                "method": "those seen",
            }
        )
    return rows


def _retention() -> list[dict]:
    shares = {
        "followed": 0.45,
        "seen": 0.45,
        "seen_elsewhere": 0.0,
        "not_counted": None,
        "missed": 0.1,
        "gone": 0.45,
        "not_due": 0.3,
        "site_silent": None,
    }
    return [
        {
            "months": months,
            "age_from": age,
            "age_to": 99 if age == 20 else 19,
            "status": status,
            "method": "m",
        }
        | (
            {"flag": "withheld"}
            if share is None
            else {
                "n": round(share * 900),
                "denominator": 900,
                "proportion": share,
                "low": share * 0.9,
                "high": share * 1.1,
            }
        )
        for months in MONTHS
        for age in (20, 5)
        for status, share in shares.items()
    ]


def _balance() -> list[dict]:
    return [
        {
            "months": months,
            "covariate": covariate,
            "level": level,
            "n": 200,
            "denominator": 450,
            "share_due": 0.5,
            "share_seen": 0.55,
            "share_weighted": 0.51,
            "difference_before": before,
            "difference_after": 0.02,
            "method": "m",
        }
        for months in MONTHS
        for covariate, level, before in (
            ("sex", "female", 0.1),
            ("sex", "male", -0.1),
            ("age", "20-39", -0.22),
        )
    ]


def _transition() -> list[dict]:
    bands = [band.name for band in measures.BANDINGS["bmi_adult"].bands]
    rows = []
    for months, (i, one), (j, other) in product(MONTHS, enumerate(bands), enumerate(bands)):
        head = {"months": months, "banding": "bmi_adult", "band_from": one, "band_to": other, "method": "m"}
        share = 0.8 if i == j else 0.1 if abs(i - j) == 1 else 0.0
        rows.append(
            head
            | (
                {"flag": "withheld"}
                if one == "underweight"
                else {
                    "n": round(share * 300),
                    "denominator": 300,
                    "proportion": share,
                    "low": share * 0.9,
                    "high": min(share * 1.1, 1),
                }
            )
        )
    return rows


def _sites(ids: list[str]) -> list[dict]:
    rows = []
    for months, (i, site) in product(MONTHS, enumerate(ids)):
        for topic, unit, reference, step in (
            ("weight_change_percent", "%", -2.5, 0.4),
            ("lost_5_percent", "1", 0.25, 0.04),
        ):
            value = reference + step * (i - 2)
            head = {
                "months": months,
                "topic": topic,
                "unit": unit,
                "site": site,
                "method": "m",
                "target": 0.25 if (topic, months) == ("lost_5_percent", 12) else None,
            }
            if i == len(ids) - 1:
                rows.append(head | {"flag": "withheld"})
                continue
            rows.append(
                head
                | {
                    "n": 60,
                    "denominator": 60 + 10 * i,
                    "value": value,
                    "low": value - step,
                    "high": value + step,
                    "reference": reference,
                    "q_value": 0.4,
                    "shrunken": (value + reference) / 2,
                    "shrunken_low": (value + reference) / 2 - step,
                    "shrunken_high": (value + reference) / 2 + step,
                    "target_probability": 0.2 + 0.2 * i if head["target"] else None,
                }
            )
    return rows


def _effects(kind: str) -> list[dict]:
    if kind == "none":
        return []
    flag, after, before = EFFECTS[kind]
    head = {
        "n": 200,
        "comparison_n": 300,
        "sites": 3,
        "comparison_sites": 3,
        "p": 0.04,
        "method": "m",
        "flag": flag,
    }
    times = [(time, before) for time in (-2, -1)] + [(time, after) for time in (0, 1)]
    rows = [
        {"kind": "event", "event_time": time, "value": v, "low": lo, "high": hi}
        for time, (v, lo, hi) in times
    ]
    for name, (value, low, high) in (("overall", after), ("overall_before", before)):
        rows.append({"kind": name, "value": value, "low": low, "high": high})
    return [head | row for row in rows]


def _error() -> list[dict]:
    return [
        {
            "measure": measure,
            "unit": unit,
            "source": source,
            "n": 120,
            "error": error,
            "reliability": 0.99,
            "smallest_detectable_change": error * 2.772,
            "is_used": "yes" if source == "between_visits" else "no",
            "method": "m",
        }
        for measure, unit in (("weight", "kg"), ("body_fat_percent", "%"))
        for source, error in (("same_visit", 0.15), ("between_visits", 0.6))
    ]
