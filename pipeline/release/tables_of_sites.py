"""Published tables of sites beside each other, and of analysers and sites as instruments."""

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
    WITHHELD,
    Column,
    Table,
    count,
    figure,
)
from pipeline.release.tables_of_counts import DATA_QUALITY, MEASURE, UNIT

_SITE = Column("site", "string", "Site", "Identifier of the site.", "none", SETTINGS, {"required": True})
_TOPIC = Column(
    "topic", "string", "Topic", "A banding, or a measure.", "none", REGISTRY, {"required": True}
)
_TOPIC_BAND = Column(
    "band", "string", "Band", "One band of the banding; empty text for a measure.", "none", REGISTRY,
)  # fmt: skip
_AS_UNIT = "as in column unit"
_INDIRECT = "indirect standardisation: Breslow & Day, IARC Sci Publ 82 (1987)"
_FUNNEL = "Spiegelhalter, Stat Med 2005;24:1185-202 and Qual Saf Health Care 2005;14:347-51"
_SHRUNKEN = "empirical Bayes: Morris, J Am Stat Assoc 1983;78:47-55"
_VALUE_INTERVAL = "band: Wilson, J Am Stat Assoc 1927;22:209-12; measure: normal"

SITE_COMPARISON = Table(
    "site_comparison",
    "Sites beside each other, age and sex taken into account",
    "Each site's standardised proportion or mean with its funnel limits, in the latest periods. A site outside the "
    "limits differs from what its size lets chance explain; the figures do not say why. Sites are not ranked.",
    "91_published_site_comparison.sql",
    ("topic", "band", "site", "period", "sex", "age_from", "age_to"),
    (
        _TOPIC,
        _TOPIC_BAND,
        UNIT,
        _SITE,
        PERIOD,
        SEX,
        AGE_FROM,
        AGE_TO,
        count("n", "People", "People of the group at the site who are in the band; for a measure, who have it."),
        count("denominator", "People in the group", "People of the group at the site who were measured."),
        figure("value", "Standardised value", "Proportion or mean, were the site's ages and sexes those of all.",
                _AS_UNIT, _INDIRECT),
        figure("low", "Lower limit", "Lower limit of the 95 % interval of the value.", _AS_UNIT, _VALUE_INTERVAL),
        figure("high", "Upper limit", "Upper limit of the 95 % interval of the value.", _AS_UNIT, _VALUE_INTERVAL),
        figure("reference", "All sites", "Proportion or mean of all sites together.", _AS_UNIT, COUNTED),
        figure("expected", "Expected", "People in the band, or the mean, that the site's ages and sexes lead to "
                "expect.", "{person}, or as in column unit", _INDIRECT),
        figure("ratio", "Standardised ratio", "People in the band over the expected; empty for a measure.", "1",
                _INDIRECT, minimum=0),
        figure("ratio_low", "Lower limit of the ratio", "Lower limit of its 95 % interval.", "1", _VALUE_INTERVAL,
                minimum=0),
        figure("ratio_high", "Upper limit of the ratio", "Upper limit of its 95 % interval.", "1", _VALUE_INTERVAL,
                minimum=0),
        figure("funnel_low_95", "Lower 95 % funnel limit", "A site of this size like all others lies below it "
                "once in 40 times.", _AS_UNIT, _FUNNEL),
        figure("funnel_high_95", "Upper 95 % funnel limit", "A site of this size like all others lies above it "
                "once in 40 times.", _AS_UNIT, _FUNNEL),
        figure("funnel_low_998", "Lower 99.8 % funnel limit", "A site of this size like all others lies below it "
                "once in 1000 times.", _AS_UNIT, _FUNNEL),
        figure("funnel_high_998", "Upper 99.8 % funnel limit", "A site of this size like all others lies above it "
                "once in 1000 times.", _AS_UNIT, _FUNNEL),
        figure("score", "Score", "Distance of the value from that of all sites, in standard deviations of a site "
                "like the others.", "1", _FUNNEL),
        figure("q_value", "Adjusted p", "p adjusted over the sites: of those named at 0.05, one in 20 is named by "
                "chance.", "1", "Benjamini & Hochberg, J R Stat Soc B 1995;57:289-300", **SHARE),
        figure("shrunken", "Shrunken value", "The value drawn to the mean of the sites by as much as chance "
                "deserves. Empty with fewer than four sites.", _AS_UNIT, _SHRUNKEN),
        figure("shrunken_low", "Lower limit of the shrunken value", "Lower limit of its 95 % interval.", _AS_UNIT,
                _SHRUNKEN),
        figure("shrunken_high", "Upper limit of the shrunken value", "Upper limit of its 95 % interval.", _AS_UNIT,
                _SHRUNKEN),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

_DL = "DerSimonian & Laird, Control Clin Trials 1986;7:177-88; Higgins & Thompson, Stat Med 2002;21:1539-58"

_HK = "Hartung & Knapp, Stat Med 2001;20:3875-89"

SITE_HETEROGENEITY = Table(
    "site_heterogeneity",
    "How much sites differ beyond chance",
    "For each band and measure of the site comparison: the mean over sites, and the spread between them that is left "
    "when the spread by chance is taken off.",
    "91_published_site_heterogeneity.sql",
    ("topic", "band", "period", "sex", "age_from", "age_to"),
    (
        _TOPIC,
        _TOPIC_BAND,
        UNIT,
        PERIOD,
        SEX,
        AGE_FROM,
        AGE_TO,
        Column("sites", "integer", "Sites", f"Sites compared. {WITHHELD}", "{site}", COUNTED, {"minimum": 0}),
        figure("mean", "Mean over sites", "Random-effects mean of the standardised values.", _AS_UNIT, _DL),
        figure("low", "Lower limit", "Lower limit of its 95 % interval.", _AS_UNIT, _HK),
        figure("high", "Upper limit", "Upper limit of its 95 % interval.", _AS_UNIT, _HK),
        figure("between_sd", "Standard deviation between sites", "What is left when chance is taken off.", _AS_UNIT,
                _DL, minimum=0),
        figure("i_squared", "I²", "Share of the spread that is not chance.", "1", _DL, **SHARE),
        figure("q", "Q", "Cochran's Q.", "1", _DL, minimum=0),
        figure("p", "p", "Probability of so large a Q when sites do not differ.", "1", _DL, **SHARE),
        figure("overdispersion", "Overdispersion", "Mean square of the sites' scores, from scores winsorised at "
                "15 %; about 1 by chance.", "1", _FUNNEL, minimum=0),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

_CHART = "Roberts, Technometrics 1966;8:411-30; Pollak, Ann Stat 1985;13:206-27; pipeline/statistics/fault_verdict.py"
_CHANGES = "within-person changes, structural model: Harvey 1989; pipeline/statistics/analyser_fault.py"

DEVICE = Table(
    "device",
    "Analysers: error against the others, and the control chart",
    "Each analyser in each period, from the changes of people measured on it and before: the error against the usual "
    "level of the site's analysers, and the two sums of its control chart, which signal past the decision.",
    "91_published_device.sql",
    ("site", "device", "measure", "period"),
    (
        _SITE,
        Column("device", "string", "Analyser", "As the site's files name it; empty where they do not.", "none",
               "the reading"),
        MEASURE,
        PERIOD,
        count("n", "Changes", "Changes of people that end on the analyser in the period.",
               "consecutive readings of a person"),
        figure("difference", "Difference", "Error of the analyser in the period, in the measure's unit.",
                "unit of the measure", _CHANGES),
        figure("low", "Lower limit", "Lower limit of the 95 % interval of the difference.", "unit of the measure",
                _CHANGES),
        figure("high", "Upper limit", "Upper limit of the 95 % interval of the difference.", "unit of the measure",
                _CHANGES),
        figure("upper_sum", "Upper sum", "Evidence that it began to read more: log(1 + sum of likelihood "
               "ratios over the months in which it may have begun).", "1", _CHART, minimum=0),
        figure("lower_sum", "Lower sum", "The same for reading less.", "1", _CHART, minimum=0),
        figure("decision", "Decision", "A sum past it is a signal, unless people's pace explains it better.",
               "1", _CHART, minimum=0),
        Column("signal", "string", "Signal", "shift: the error changed at once. drift: it grows, or changed again in "
               "the same direction. not determined: a fault at the site, which more than one analyser explains. "
               "pace: of a site's only analyser; its drift, or a change in what people there gain or lose, which "
               "nothing tells apart. clothing weight: less clothing was entered, which explains half of it or more. "
               f"Empty text: no signal. {WITHHELD}", "none", _CHART,
               {"enum": ["", "shift", "drift", "not determined", "pace", "clothing weight"]}),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

INSTRUMENT_CHECK = Table(
    "instrument_check",
    "Marks of careless or wrong entry",
    "For each site: last printed digits, rows sent twice, values that cannot be, and athlete mode where it does not "
    "fit.",
    "91_published_instrument_check.sql",
    ("check", "site", "period"),
    (
        _SITE,
        DATA_QUALITY.columns[1],
        Column("check", "string", "Check", "What was counted.", "none", "pipeline/results/instrument_check.py",
               {"required": True, "enum": ["athlete_mode", "duplicated", "impossible", "terminal_digit_height",
                                           "terminal_digit_weight"]}),
        Column("n", "integer", "Number", f"How many; for last digits, readings with the commonest. {WITHHELD}",
               "{count}", "counted from the ledger and the readings", {"minimum": 0}),
        Column("denominator", "integer", "Out of", f"The number of rows or readings it is out of. {WITHHELD}",
               "{count}", "counted from the ledger and the readings", {"minimum": 0}),
        figure("statistic", "Statistic", "Last digits: chi-square of ten equal shares. Others: the share over the "
                "share at the other sites.", "1", "Pearson's chi-square; ratio of shares", minimum=0),
        figure("p", "p", "Probability of as much by chance.", "1", "chi-square; Fisher's exact test", **SHARE),
        figure("value", "Value", "Last digits: share of readings that would have to change digit. Others: n over "
                "denominator.", "1", "index of dissimilarity; n / denominator", **SHARE),
        METHOD,
        FLAG,
    ),
)  # fmt: skip
