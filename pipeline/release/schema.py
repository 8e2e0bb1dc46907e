"""The published tables: every column's type, title, description, unit and source. Files and codebook come from here.

A column that a table of results has and this file has not does not reach a release.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import polars as pl

from pipeline import measures

SIGNIFICANT_DIGITS = 7

# Table Schema type → type in memory and in Parquet
POLARS_TYPES: dict[str, Any] = {"string": pl.String, "integer": pl.Int64, "number": pl.Float64}


@dataclass(frozen=True)
class Column:
    """One column of a published table.

    `type` is a Table Schema type; `unit` a UCUM code, or "none" for words; `limits` are Table Schema constraints.
    """

    name: str
    type: str
    title: str
    description: str
    unit: str
    source: str
    limits: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Table:
    """One published table: a row is told from the others by the columns of `key`, in which null is a value."""

    name: str
    title: str
    description: str
    query: str  # the file of sql/ that reads it from the store
    key: tuple[str, ...]
    columns: tuple[Column, ...]

    @property
    def column_names(self) -> list[str]:
        return [column.name for column in self.columns]


_SETTINGS = "programme settings"
_REGISTRY = "pipeline/measures.py"
_COUNTED = "counted: one person once a period, by the last eligible reading"
_WITHHELD = "Empty where the figure is withheld."
_SHARE = {"minimum": 0, "maximum": 1}

_PERIOD = Column(
    "period",
    "string",
    "Period",
    "Calendar quarter (2025Q3) or month (2025-07) of the reading.",
    "none",
    "date of the reading",
    {"pattern": "[0-9]{4}(Q[1-4]|-[01][0-9])", "required": True},
)
_SEX = Column(
    "sex",
    "string",
    "Sex",
    "female, male, or all for both together.",
    "none",
    "the reading",
    {"enum": ["female", "male", "all"], "required": True},
)
_AGE_FROM = Column(
    "age_from",
    "integer",
    "Age from",
    "Youngest age of the group, in whole years.",
    "a",
    _SETTINGS,
    {"minimum": measures.AGE_LOW, "maximum": measures.AGE_HIGH, "required": True},
)
_AGE_TO = Column(
    "age_to",
    "integer",
    "Age to",
    "Oldest age of the group, in whole years; everyone of that age is within.",
    "a",
    _SETTINGS,
    {"minimum": measures.AGE_LOW, "maximum": measures.AGE_HIGH, "required": True},
)
_SITE_OR_ALL = Column(
    "site", "string", "Site", "Identifier of the site; empty for all sites together.", "none", _SETTINGS
)
_METHOD = Column(
    "method",
    "string",
    "Method",
    "How the figure and its interval were computed.",
    "none",
    "pipeline/statistics",
    {"required": True},
)
_FLAG = Column(
    "flag",
    "string",
    "Flag",
    "withheld: the figures are empty to protect people in small groups. "
    "unreliable: the figure is uncertain, read it with its interval. Empty otherwise.",
    "none",
    "pipeline/disclosure",
    {"enum": ["withheld", "unreliable"]},
)

PREVALENCE = Table(
    "prevalence",
    "Prevalence of each band",
    "How many people of a group are in each band of a banding, and which share of the group that is.",
    "90_published_prevalence.sql",
    ("banding", "band", "population", "site", "period", "sex", "age_from", "age_to"),
    (
        Column(
            "banding",
            "string",
            "Banding",
            "The set of bands; release.json gives its rules and its source.",
            "none",
            _REGISTRY,
            {"required": True},
        ),
        Column("band", "string", "Band", "One band of the banding.", "none", _REGISTRY, {"required": True}),
        Column(
            "population",
            "string",
            "Population",
            "all: all sites together. site: the site named beside it.",
            "none",
            _SETTINGS,
            {"enum": ["all", "site"], "required": True},
        ),
        _SITE_OR_ALL,
        _PERIOD,
        _SEX,
        _AGE_FROM,
        _AGE_TO,
        Column(
            "n",
            "integer",
            "People in the band",
            f"People of the group who are in the band. {_WITHHELD}",
            "{person}",
            _COUNTED,
            {"minimum": 0},
        ),
        Column(
            "denominator",
            "integer",
            "People in the group",
            f"People of the group whom the banding places in one of its bands. {_WITHHELD}",
            "{person}",
            _COUNTED,
            {"minimum": 0},
        ),
        Column(
            "proportion",
            "number",
            "Proportion",
            f"n / denominator, from 0 to 1. {_WITHHELD}",
            "1",
            "n / denominator",
            _SHARE,
        ),
        Column(
            "low",
            "number",
            "Lower limit",
            f"Lower limit of the 95 % interval of the proportion. {_WITHHELD}",
            "1",
            "Wilson, J Am Stat Assoc 1927;22:209-12",
            _SHARE,
        ),
        Column(
            "high",
            "number",
            "Upper limit",
            f"Upper limit of the 95 % interval of the proportion. {_WITHHELD}",
            "1",
            "Wilson, J Am Stat Assoc 1927;22:209-12",
            _SHARE,
        ),
        _METHOD,
        _FLAG,
    ),
)

_NO_LIMIT = (
    "Empty also where that limit does not exist or would show the value of one of the outermost people."
)

PERCENTILE = Table(
    "percentile",
    "Percentiles of each measure",
    "The value that a given percentage of a group lies at or below, for each measure. A group without rows has "
    "nobody measured, or so few people that every percentile is withheld.",
    "90_published_percentile.sql",
    ("measure", "site", "period", "sex", "age_from", "age_to", "percentile"),
    (
        Column(
            "measure",
            "string",
            "Measure",
            "What was measured; release.json gives its title and source.",
            "none",
            _REGISTRY,
            {"required": True},
        ),
        Column(
            "unit",
            "string",
            "Unit",
            "UCUM unit of value, low and high.",
            "none",
            _REGISTRY,
            {"required": True},
        ),
        _SITE_OR_ALL,
        _PERIOD,
        _SEX,
        _AGE_FROM,
        _AGE_TO,
        Column(
            "percentile",
            "integer",
            "Percentile",
            "Percentage of the group at or below the value.",
            "%",
            _REGISTRY,
            {"minimum": 1, "maximum": 99, "required": True},
        ),
        Column(
            "value",
            "number",
            "Value",
            f"The percentile, in the unit of the row. {_WITHHELD}",
            "as in column unit",
            "Hyndman & Fan, Am Stat 1996;50:361-5, type 7",
        ),
        Column(
            "low",
            "number",
            "Lower limit",
            f"Lower limit of the 95 % interval of the percentile. {_WITHHELD} {_NO_LIMIT}",
            "as in column unit",
            "binomial order statistics: Hahn & Meeker 1991, chapter 5",
        ),
        Column(
            "high",
            "number",
            "Upper limit",
            f"Upper limit of the 95 % interval of the percentile. {_WITHHELD} {_NO_LIMIT}",
            "as in column unit",
            "binomial order statistics: Hahn & Meeker 1991, chapter 5",
        ),
        Column(
            "n",
            "integer",
            "People in the group",
            f"People of the group who have the measure. {_WITHHELD}",
            "{person}",
            _COUNTED,
            {"minimum": 0},
        ),
        _METHOD,
        _FLAG,
    ),
)

DATA_QUALITY = Table(
    "data_quality",
    "What was received and what was found in it",
    "For each site, and period where there is one: rows and readings received, set aside and flagged, by reason.",
    "90_published_data_quality.sql",
    ("site", "period", "item"),
    (
        _SITE_OR_ALL,
        Column(
            "period",
            "string",
            "Period",
            "Calendar quarter (2025Q3) or month (2025-07); empty for what has no "
            "period, such as the rows of a file.",
            "none",
            "date of the reading",
            {"pattern": "[0-9]{4}(Q[1-4]|-[01][0-9])"},
        ),
        Column(
            "item",
            "string",
            "Item",
            "What was counted: a row total, readings, people, or the code of a check; "
            "release.json explains each check.",
            "none",
            "pipeline/checks.py",
            {"required": True},
        ),
        Column(
            "severity",
            "string",
            "Severity",
            "count: a total. hold: the row was not accepted. set_aside: the "
            "reading is kept and does not count. flag: it counts and is reported.",
            "none",
            "pipeline/checks.py",
            {"enum": ["count", "hold", "set_aside", "flag"], "required": True},
        ),
        Column(
            "n",
            "integer",
            "Number",
            f"How many. {_WITHHELD}",
            "{count}",
            "counted from the ledger and the readings",
            {"minimum": 0},
        ),
        Column(
            "denominator",
            "integer",
            "Out of",
            f"The number of rows or readings it is out of. {_WITHHELD}",
            "{count}",
            "counted from the ledger and the readings",
            {"minimum": 0},
        ),
        Column(
            "proportion",
            "number",
            "Proportion",
            f"Number divided by what it is out of. {_WITHHELD}",
            "1",
            "n / denominator",
            {"minimum": 0},
        ),
        _FLAG,
    ),
)

TABLES: tuple[Table, ...] = (PREVALENCE, PERCENTILE, DATA_QUALITY)
