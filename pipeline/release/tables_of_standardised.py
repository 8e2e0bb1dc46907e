"""Published tables that compare over sites, periods and with a reference: standardised, trends, WHO 2007."""

from __future__ import annotations

from pipeline.release.column import (
    AGE_FROM,
    AGE_TO,
    FLAG,
    METHOD,
    PERIOD,
    SEX,
    SHARE,
    SITE_OR_ALL,
    Column,
    Table,
    count,
    figure,
)
from pipeline.release.tables_of_counts import BAND, BANDING, POPULATION

_STANDARDISED = "direct standardisation: Breslow & Day, IARC Sci Publ 82 (1987)"
_STANDARDISED_INTERVAL = (
    "all sites: logit interval over sites, Korn & Graubard 1998; a site: Fay & Feuer, Stat Med 1997;16:791-801"
)

STANDARDISED_PREVALENCE = Table(
    "standardised_prevalence",
    "Prevalence at the ages of a standard population",
    "What the prevalence of each band would be if the ages were those of the standard population: fit to compare sites "
    "and periods whose ages differ. Age groups are the published ones, an age group with few people joined to its "
    "younger neighbour. Of both sexes together, women and men weigh the same in every age group. Shares are rounded to "
    "a step worth at least the minimum count of people.",
    "90_published_standardised_prevalence.sql",
    ("banding", "band", "population", "site", "period", "sex", "age_from", "age_to"),
    (
        BANDING,
        BAND,
        POPULATION,
        SITE_OR_ALL,
        PERIOD,
        SEX,
        AGE_FROM,
        AGE_TO,
        Column("standard", "string", "Standard population", "The standard population of the settings.", "none",
               "pipeline/reference/README.md, or the programme's own file", {"required": True}),
        count("n", "People in the band", "People of the group who are in the band, as counted."),
        count("denominator", "People in the group", "People of the group whom the banding places in a band."),
        figure("proportion", "Standardised proportion", "From 0 to 1.", "1", _STANDARDISED, **SHARE),
        figure("low", "Lower limit", "Lower limit of the 95 % interval, rounded down.", "1",
                _STANDARDISED_INTERVAL, **SHARE),
        figure("high", "Upper limit", "Upper limit of the 95 % interval, rounded up.", "1",
                _STANDARDISED_INTERVAL, **SHARE),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

_TREND = "Liang & Zeger, Biometrika 1986;73:13-22; jackknife: Bell & McCaffrey, Surv Methodol 2002;28:169-81"
_ENDPOINT = {"pattern": "[0-9]{4}(Q[1-4]|-[01][0-9])", "required": True}

TREND = Table(
    "trend",
    "Trend of each band over the periods",
    "Whether the share of people in a band rises or falls, for all sites together, within age group and sex, by a test "
    "that takes the likeness of people within a site, and of a person over periods, into account. A change among those "
    "who were measured need not be a change in anybody: see the cautions.",
    "90_published_trend.sql",
    ("banding", "band", "sex", "age_from", "age_to"),
    (
        BANDING,
        BAND,
        SEX,
        AGE_FROM,
        AGE_TO,
        Column("period_from", "string", "First period", "First period of the trend.", "none",
               "date of the reading", _ENDPOINT),
        Column("period_to", "string", "Last period", "Last period of the trend.", "none",
               "date of the reading", _ENDPOINT),
        Column("periods", "integer", "Periods", "Periods with readings; one without them still takes its time.",
               "{count}", "date of the reading", {"minimum": 2, "required": True}),
        count("n", "People in the band", "Added up over periods: somebody counts in each of their periods."),
        count("denominator", "People in the group", "Added up over periods likewise."),
        figure("odds_ratio", "Odds ratio a period", "Odds of the band in a period over those of the one before.",
                "1", _TREND, minimum=0),
        figure("low", "Lower limit", "Lower limit of the 95 % interval of the odds ratio.", "1", _TREND, minimum=0),
        figure("high", "Upper limit", "Upper limit of the 95 % interval of the odds ratio.", "1", _TREND, minimum=0),
        figure("points_a_period", "Change a period", "Mean change of the proportion a period; 0.01 is a percentage "
                "point.", "1", _TREND, minimum=-1, maximum=1),
        figure("p", "p-value", "Two-sided, of no trend; not corrected for the number of bands.", "1", _TREND, **SHARE),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

_WHO = "WHO Reference 2007: de Onis et al., Bull World Health Organ 2007;85:660-7"
_ROUNDED_INTERVAL = "Korn & Graubard, Surv Methodol 1998;24:193-201, limits rounded outward"

WHO_POSITION = Table(
    "who_position",
    "Children and adolescents beside the WHO reference",
    "The share of the 5- to 19-year-olds whose BMI-for-age lies below each centile of WHO Reference 2007, beside the "
    "share of the reference population. n is rounded to a multiple of the minimum count, proportion is made of it, and "
    "the limits are rounded outward to a step worth as many people.",
    "90_published_who_position.sql",
    ("period", "sex", "age_from", "age_to", "percentile"),
    (
        PERIOD,
        SEX,
        AGE_FROM,
        AGE_TO,
        Column("percentile", "integer", "Centile of the reference", "Centile of BMI-for-age in the reference.",
               "%", _WHO, {"minimum": 1, "maximum": 99, "required": True}),
        count("n", "People below", "People of the group below the centile, rounded to a multiple of the minimum "
               "count."),
        count("denominator", "People in the group", "People of the group who have a BMI-for-age."),
        figure("proportion", "Proportion below", "n / denominator, from 0 to 1.", "1", "n / denominator", **SHARE),
        figure("low", "Lower limit", "Lower limit of the 95 % interval.", "1", _ROUNDED_INTERVAL, **SHARE),
        figure("high", "Upper limit", "Upper limit of the 95 % interval.", "1", _ROUNDED_INTERVAL, **SHARE),
        Column("expected", "number", "Share of the reference", "The centile as a share of 1.", "1", _WHO,
               {**SHARE, "required": True}),
        METHOD,
        FLAG,
    ),
)  # fmt: skip
