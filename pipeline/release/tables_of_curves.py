"""Published tables of smooth age curves."""

from __future__ import annotations

from pipeline import measures
from pipeline.release.column import (
    AGE_FROM,
    AGE_TO,
    FLAG,
    METHOD,
    SEX,
    WITHHELD,
    Column,
    Table,
    count,
    figure,
)
from pipeline.release.tables_of_counts import MEASURE, PERCENTILE, UNIT

_NEAR_PEOPLE = "people, rounded down to a multiple of the minimum count"
_LMS = (
    "Cole & Green, Stat Med 1992;11:1305-19; Rigby & Stasinopoulos, Appl Stat 2005;54:507-54; smoothness: Wood & "
    "Fasiolo, Biometrics 2017;73:1071-81"
)
_BAND = (
    "sandwich over sites: Liang & Zeger, Biometrika 1986;73:13-22, a site left out at a time: Bell & McCaffrey, Surv "
    "Methodol 2002;28:169-81; LMS smoothing: Nychka, J Am Stat Assoc 1988;83:1134-43; regression quantiles: Koenker, "
    "Quantile Regression, 2005"
)
_FIT = (
    "share below: Korn & Graubard 1998 over sites; van Buuren & Fredriks, Stat Med 2001;20:1259-77; Royston & Wright, "
    "Stat Med 2000;19:2943-62"
)
_AGE = {"minimum": measures.AGE_LOW, "maximum": measures.AGE_HIGH}
_ONCE = "each person once, by the last reading that counts over all periods"

CURVE = Table(
    "curve",
    "Which smooth curve is published, and why",
    "For each measure and sex: LMS curves where their family of distributions holds beside regression quantiles, which "
    "assume none; otherwise the regression quantiles; none where people or ages are too few.",
    "90_published_curve.sql",
    ("measure", "sex"),
    (
        MEASURE,
        UNIT,
        SEX,
        count("n", "People", f"The {_NEAR_PEOPLE}; {_ONCE}."),
        Column("age_from", "integer", "Age from", "First age at which a median is drawn. Empty without a curve.",
               "a", "people near the age", _AGE),
        Column("age_to", "integer", "Age to", "Last age at which a median is drawn. Empty without a curve.",
               "a", "people near the age", _AGE),
        Column("method", "string", "Method", "lms, regression quantile, or none.", "none",
               "pipeline/statistics/curve_choice.py",
               {"enum": ["lms", "regression quantile", "none"], "required": True}),
        Column("why", "string", "Why", f"The reason for the choice, in words. {WITHHELD}", "none",
               "pipeline/statistics/curve_choice.py"),
        FLAG,
    ),
)  # fmt: skip

PERCENTILE_CURVE = Table(
    "percentile_curve",
    "Smooth percentile curves by age",
    f"Percentiles of each measure and sex as smooth curves of age; {_ONCE}. Ages with few people nearby are not drawn.",
    "90_published_percentile_curve.sql",
    ("measure", "sex", "age", "percentile"),
    (
        MEASURE,
        UNIT,
        SEX,
        Column("age", "integer", "Age", "In whole years.", "a", "the reading", {**_AGE, "required": True}),
        PERCENTILE.columns[7],
        figure("value", "Value", "The percentile at this age, in the unit of the row.", "as in column unit",
                f"{_LMS}; or Koenker & Bassett, Econometrica 1978;46:33-50"),
        figure("low", "Lower limit", "Lower edge of the pointwise 95 % band; empty also where there is none.",
                "as in column unit", _BAND),
        figure("high", "Upper limit", "Upper edge of the pointwise 95 % band; empty also where there is none.",
                "as in column unit", _BAND),
        count("n", "People nearby", f"The {_NEAR_PEOPLE}, within two years of this age.",
               "counted: one person once over all periods"),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

CURVE_DIAGNOSTIC = Table(
    "curve_diagnostic",
    "How well the smooth curves fit",
    "By age group. share_below: the share of people below a percentile's curve. worm: how far the z-scores depart from "
    "a normal distribution, at several of its scores. q: normal scores of the mean (at 1), variance (2), skewness (3) "
    "and kurtosis (4) of the z-scores; over all ages their sum of squares.",
    "90_published_curve_diagnostic.sql",
    ("measure", "sex", "age_from", "age_to", "diagnostic", "at"),
    (
        MEASURE,
        SEX,
        AGE_FROM,
        AGE_TO,
        Column("diagnostic", "string", "Diagnostic", "share_below, worm or q.", "none", "pipeline/statistics",
               {"enum": ["share_below", "worm", "q"], "required": True}),
        Column("at", "number", "At", "The percentile, the normal score, or the number of the moment.",
               "%, or 1 for worm and q", "pipeline/statistics", {"required": True}),
        figure("observed", "Observed", "The share below, the departure, or the moment's score.", "1",
                "pipeline/statistics"),
        figure("expected", "Expected", "What a perfect fit would give; for q over all ages its degrees of freedom.",
                "1", "pipeline/statistics"),
        figure("low", "Lower limit", "share_below: of the interval of the observed share. worm and q: of what a good "
                "fit gives 95 times in 100.", "1",
                _FIT),
        figure("high", "Upper limit", "Likewise.", "1",
                _FIT),
        count("n", "People", f"The {_NEAR_PEOPLE}, of the age group; {_ONCE}."),
        FLAG,
    ),
)  # fmt: skip
