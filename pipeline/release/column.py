"""What a column and a table of a release are, and the columns that many tables share."""

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


SETTINGS = "programme settings"
REGISTRY = "pipeline/measures.py"
COUNTED = "counted: one person once a period, by the last eligible reading"
WITHHELD = "Empty where the figure is withheld."
SHARE = {"minimum": 0, "maximum": 1}

PERIOD = Column(
    "period",
    "string",
    "Period",
    "Calendar quarter (2025Q3) or month (2025-07) of the reading.",
    "none",
    "date of the reading",
    {"pattern": "[0-9]{4}(Q[1-4]|-[01][0-9])", "required": True},
)
SEX = Column(
    "sex",
    "string",
    "Sex",
    "female, male, or all for both together.",
    "none",
    "the reading",
    {"enum": ["female", "male", "all"], "required": True},
)
AGE_FROM = Column(
    "age_from",
    "integer",
    "Age from",
    "Youngest age of the group, in whole years.",
    "a",
    SETTINGS,
    {"minimum": measures.AGE_LOW, "maximum": measures.AGE_HIGH, "required": True},
)
AGE_TO = Column(
    "age_to",
    "integer",
    "Age to",
    "Oldest age of the group, in whole years; everyone of that age is within.",
    "a",
    SETTINGS,
    {"minimum": measures.AGE_LOW, "maximum": measures.AGE_HIGH, "required": True},
)
SITE_OR_ALL = Column(
    "site", "string", "Site", "Identifier of the site; empty for all sites together.", "none", SETTINGS
)
METHOD = Column(
    "method",
    "string",
    "Method",
    "How the figure and its interval were computed.",
    "none",
    "pipeline/statistics",
    {"required": True},
)
FLAG = Column(
    "flag",
    "string",
    "Flag",
    "withheld: the figures are empty to protect people in small groups. "
    "unreliable: the figure is uncertain, read it with its interval. Empty otherwise.",
    "none",
    "withheld: pipeline/disclosure. unreliable: Parker et al., Vital Health Stat 2017;2(175)",
    {"enum": ["withheld", "unreliable"]},
)


def figure(name: str, title: str, description: str, unit: str, source: str, **limits: Any) -> Column:
    """A number that may be withheld."""
    return Column(name, "number", title, f"{description} {WITHHELD}", unit, source, limits)


def count(name: str, title: str, description: str, source: str = COUNTED) -> Column:
    """A number of people that may be withheld."""
    return Column(name, "integer", title, f"{description} {WITHHELD}", "{person}", source, {"minimum": 0})
