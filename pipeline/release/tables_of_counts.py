"""Published tables of counts and of what follows from each count alone."""

from __future__ import annotations

from pipeline.release.column import (
    AGE_FROM,
    AGE_TO,
    COUNTED,
    FLAG,
    METHOD,
    PERIOD,
    REGISTRY,
    SETTINGS,
    SEX,
    SHARE,
    SITE_OR_ALL,
    WITHHELD,
    Column,
    Table,
)

_PREVALENCE_INTERVAL = (
    "all sites: Korn & Graubard, Surv Methodol 1998;24:193-201; a site: Wilson, J Am Stat Assoc 1927;22:209-12"
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
            REGISTRY,
            {"required": True},
        ),
        Column("band", "string", "Band", "One band of the banding.", "none", REGISTRY, {"required": True}),
        Column(
            "population",
            "string",
            "Population",
            "all: all sites together. site: the site named beside it.",
            "none",
            SETTINGS,
            {"enum": ["all", "site"], "required": True},
        ),
        SITE_OR_ALL,
        PERIOD,
        SEX,
        AGE_FROM,
        AGE_TO,
        Column(
            "n",
            "integer",
            "People in the band",
            f"People of the group who are in the band. {WITHHELD}",
            "{person}",
            COUNTED,
            {"minimum": 0},
        ),
        Column(
            "denominator",
            "integer",
            "People in the group",
            f"People of the group whom the banding places in one of its bands. {WITHHELD}",
            "{person}",
            COUNTED,
            {"minimum": 0},
        ),
        Column(
            "proportion",
            "number",
            "Proportion",
            f"n / denominator, from 0 to 1. {WITHHELD}",
            "1",
            "n / denominator",
            SHARE,
        ),
        Column(
            "low",
            "number",
            "Lower limit",
            f"Lower limit of the 95 % interval of the proportion, by the method of the row. {WITHHELD}",
            "1",
            _PREVALENCE_INTERVAL,
            SHARE,
        ),
        Column(
            "high",
            "number",
            "Upper limit",
            f"Upper limit of the 95 % interval of the proportion, by the method of the row. {WITHHELD}",
            "1",
            _PREVALENCE_INTERVAL,
            SHARE,
        ),
        Column(
            "design_effect",
            "number",
            "Design effect",
            "Variance of the proportion with sites as clusters, each left out in turn, over that of as many people "
            "drawn one by one; rounded up to a quarter, and the interval is made of it so. Empty for a site's own row. "
            f"{WITHHELD}",
            "1",
            "Kish, Survey Sampling (1965); Korn & Graubard, Surv Methodol 1998;24:193-201",
            {"minimum": 0},
        ),
        METHOD,
        FLAG,
    ),
)

_NO_LIMIT = (
    "Empty also where that limit does not exist or would show the value of one of the outermost people."
)

_LIMITS = (
    "binomial order statistics: Hahn & Meeker 1991, chapter 5; all sites: of the effective sample size, "
    "Woodruff, J Am Stat Assoc 1952;47:635-46"
)

PERCENTILE = Table(
    "percentile",
    "Percentiles of each measure",
    "The value that a given percentage of a group lies at or below, for each measure. A group without rows has "
    "nobody measured, or every percentile of it is withheld.",
    "90_published_percentile.sql",
    ("measure", "site", "period", "sex", "age_from", "age_to", "percentile"),
    (
        Column(
            "measure",
            "string",
            "Measure",
            "What was measured; release.json gives its title and source.",
            "none",
            REGISTRY,
            {"required": True},
        ),
        Column(
            "unit",
            "string",
            "Unit",
            "UCUM unit of value, low and high.",
            "none",
            REGISTRY,
            {"required": True},
        ),
        SITE_OR_ALL,
        PERIOD,
        SEX,
        AGE_FROM,
        AGE_TO,
        Column(
            "percentile",
            "integer",
            "Percentile",
            "Percentage of the group at or below the value.",
            "%",
            REGISTRY,
            {"minimum": 1, "maximum": 99, "required": True},
        ),
        Column(
            "value",
            "number",
            "Value",
            f"The percentile, in the unit of the row. {WITHHELD}",
            "as in column unit",
            "Hyndman & Fan, Am Stat 1996;50:361-5, type 7",
        ),
        Column(
            "low",
            "number",
            "Lower limit",
            f"Lower limit of the 95 % interval of the percentile. {WITHHELD} {_NO_LIMIT}",
            "as in column unit",
            _LIMITS,
        ),
        Column(
            "high",
            "number",
            "Upper limit",
            f"Upper limit of the 95 % interval of the percentile. {WITHHELD} {_NO_LIMIT}",
            "as in column unit",
            _LIMITS,
        ),
        Column(
            "n",
            "integer",
            "People in the group",
            f"People of the group who have the measure. {WITHHELD}",
            "{person}",
            COUNTED,
            {"minimum": 0},
        ),
        METHOD,
        FLAG,
    ),
)

DATA_QUALITY = Table(
    "data_quality",
    "What was received and what was found in it",
    "For each site, and period where there is one: rows and readings received, set aside and flagged, by reason.",
    "90_published_data_quality.sql",
    ("site", "period", "item"),
    (
        SITE_OR_ALL,
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
            f"How many. {WITHHELD}",
            "{count}",
            "counted from the ledger and the readings",
            {"minimum": 0},
        ),
        Column(
            "denominator",
            "integer",
            "Out of",
            f"The number of rows or readings it is out of. {WITHHELD}",
            "{count}",
            "counted from the ledger and the readings",
            {"minimum": 0},
        ),
        Column(
            "proportion",
            "number",
            "Proportion",
            f"Number divided by what it is out of. {WITHHELD}",
            "1",
            "n / denominator",
            {"minimum": 0},
        ),
        FLAG,
    ),
)

BANDING, BAND, POPULATION = PREVALENCE.columns[:3]
MEASURE, UNIT = PERCENTILE.columns[:2]
