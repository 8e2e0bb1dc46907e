"""Published tables of outcomes: who was seen again, how people changed, and how sure one can be of it."""

from __future__ import annotations

from pipeline import measures
from pipeline.release.column import (
    AGE_FROM,
    AGE_TO,
    FLAG,
    METHOD,
    REGISTRY,
    SETTINGS,
    SEX,
    SHARE,
    SITE_OR_ALL,
    WITHHELD,
    Column,
    Table,
    figure,
)

_COARSE = "as a multiple of the minimum count, at or below"
_ENTRY = "counted: each person once a follow-up, by the reading nearest to its day"
_UNIT = Column(
    "unit", "string", "Unit", "UCUM unit of the figures; 1 for shares and z-scores.", "none", REGISTRY,
    {"required": True},
)  # fmt: skip
_MONTHS = Column(
    "months", "integer", "Follow-up", "Months after the first reading that counts in the programme.", "mo", SETTINGS,
    {"minimum": 1, "required": True},
)  # fmt: skip


def _people(name: str, title: str, description: str) -> Column:
    text = f"{description}, {_COARSE}. {WITHHELD}"
    return Column(name, "integer", title, text, "{person}", _ENTRY, {"minimum": 0})


_CLUSTER = "Korn & Graubard, Surv Methodol 1998;24:193-201; Wilson, J Am Stat Assoc 1927;22:209-12"

RETENTION = Table(
    "retention",
    "Who was seen again",
    "Of those who entered, how many were seen at each follow-up, and what became of the others. Someone who changed "
    "site is followed where numbers mean the same person at every site. not_due: the follow-up is not over yet. "
    "site_silent: the site of entry has sent nothing since it was over. Both count out of everybody who entered, the "
    "rest out of those who were due. followed: seen, here or elsewhere. not_counted: a reading that is set aside. "
    "missed: came later. gone: not seen since. Who withdrew is in no count.",
    "92_published_retention.sql",
    ("months", "age_from", "site", "entry_period", "status"),
    (
        _MONTHS,
        SITE_OR_ALL,
        Column("entry_period", "string", "Period of entry", "Period of the first reading; empty for all.", "none",
               "date of the reading"),
        AGE_FROM,
        AGE_TO,
        Column("status", "string", "Status", "What became of them; see the table's description.", "none",
               "sql/57_outcome_follow_up.sql",
               {"enum": ["followed", "seen", "seen_elsewhere", "not_counted", "missed", "gone", "not_due",
                         "site_silent"], "required": True}),
        _people("n", "People", "People of this status"),
        _people("denominator", "Out of", "People it is counted out of"),
        figure("proportion", "Share", "Share of them.", "1", _ENTRY, **SHARE),
        figure("low", "Lower limit", "Lower limit of its 95 % interval.", "1", _CLUSTER, **SHARE),
        figure("high", "Upper limit", "Upper limit of its 95 % interval.", "1", _CLUSTER, **SHARE),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

_RELIABLE = "Jacobson & Truax, J Consult Clin Psychol 1991;59:12-9"
_WEIGHTS = "Robins, Hernán & Brumback, Epidemiology 2000;11:550-60"
_BARNETT = "Barnett, van der Pols & Dobson, Int J Epidemiol 2005;34:215-20"

OUTCOME = Table(
    "outcome",
    "How people changed, by every estimator",
    "Change from entry to a follow-up. mean_change: mean over people. lost_5_percent: share who lost 5 % of their"
    " weight or more. reached_target: the probability that this share reaches the target of the settings. fell, "
    "unchanged, rose: share whose own change is beyond the smallest detectable one, or is not; direction says "
    "which way counts as better. regression_to_mean: the change to expect without any effect of people chosen for"
    " a high first reading. fat_share_of_loss: fat in the weight lost. The estimators differ in what they take of"
    " those who were not seen; the range over them is part of the answer. Children and young people are judged by"
    " BMI z-score alone. Without a comparison no change is the programme's by these figures.",
    "92_published_outcome.sql",
    ("age_from", "months", "measure", "unit", "statistic", "start", "sex", "estimator"),
    (
        _MONTHS,
        Column("measure", "string", "Measure", "What changed.", "none", REGISTRY, {"required": True}),
        _UNIT,
        Column("statistic", "string", "Statistic", "What is said of the change; see the table's description.", "none",
               f"lost_5_percent: Jensen et al., Circulation 2014;129 Suppl 2:S102-38. fell, rose: {_RELIABLE}",
               {"enum": ["mean_change", "lost_5_percent", "reached_target", "fell", "unchanged", "rose",
                         "regression_to_mean", "fat_share_of_loss"], "required": True}),
        Column("start", "string", "Who", "all, or bmi_25: those who entered at a BMI of 25 or over.", "none",
               "the first reading", {"enum": ["all", "bmi_25"], "required": True}),
        SEX,
        AGE_FROM,
        AGE_TO,
        Column("estimator", "string", "Estimator", "completers: those seen. carried_forward: no change for those not "
               "seen. retention_weighted: those seen, weighted for who came again. without_signals, "
               "less_analyser_differences: analysers' errors left out or taken off. same_season: as if on the entry's "
               "day of the year. less_regression_to_mean: the expected change taken off.", "none",
               f"{_WEIGHTS}; {_BARNETT}; pipeline/statistics/outcome_table.py", {"required": True}),
        Column("direction", "string", "Better", "down or up: which way counts as better; empty where none is declared.",
               "none", SETTINGS, {"enum": ["down", "up"]}),
        _people("n", "People seen", "People with both readings"),
        _people("denominator", "People due", "People whose follow-up was due"),
        figure("value", "Value", "The mean change or the share.", "as in column unit", "pipeline/statistics"),
        figure("low", "Lower limit", "Lower limit of its 95 % interval.", "as in column unit",
                "linearised over sites of entry; shares: Korn & Graubard, Surv Methodol 1998;24:193-201"),
        figure("high", "Upper limit", "Upper limit of its 95 % interval.", "as in column unit",
                "linearised over sites of entry; shares: Korn & Graubard, Surv Methodol 1998;24:193-201"),
        figure("effective_n", "Effective people", "People of equal weight that would tell as much; empty without "
                "weights.", "{person}", "Kish, Survey Sampling (1965)", minimum=0),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

_BAND = {"enum": sorted({b.name for k in ("bmi_adult", "bmi_child") for b in measures.BANDINGS[k].bands}),
         "required": True}  # fmt: skip

TRANSITION = Table(
    "transition",
    "From which BMI band to which",
    "Of those who entered in a band and were seen at a follow-up, the share in each band then. Many who cross an edge "
    "were near it: a small change, or chance, moves them.",
    "92_published_transition.sql",
    ("months", "banding", "band_from", "band_to"),
    (
        _MONTHS,
        Column("banding", "string", "Banding", "bmi_adult, or bmi_child under 20.", "none", REGISTRY,
               {"required": True}),
        Column("band_from", "string", "Band at entry", "Band of the first reading.", "none", REGISTRY, _BAND),
        Column("band_to", "string", "Band at follow-up", "Band of the follow-up's reading.", "none", REGISTRY, _BAND),
        _people("n", "People", "People who went from the one to the other"),
        _people("denominator", "Entered in the band", "People who entered in the band and were seen"),
        figure("proportion", "Share", "Share of them, reckoned from the coarse counts.", "1", _ENTRY, **SHARE),
        figure("low", "Lower limit", "Lower limit of its 95 % interval.", "1",
               "Wilson, J Am Stat Assoc 1927;22:209-12", **SHARE),
        figure("high", "Upper limit", "Upper limit of its 95 % interval.", "1",
               "Wilson, J Am Stat Assoc 1927;22:209-12", **SHARE),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

_AUSTIN = "Austin, Stat Med 2009;28:3083-107"

RETENTION_BALANCE = Table(
    "retention_balance",
    "How like everybody those seen are",
    "Adults who were seen at a follow-up beside all who were due, by what was known at entry, before and after "
    "weighting. A standardised difference beyond 0.1 either way is usually called imbalance.",
    "92_published_retention_balance.sql",
    ("months", "covariate", "level"),
    (
        _MONTHS,
        Column("covariate", "string", "What was known", "sex, age, bmi at entry, or kind of site.", "none",
               "the first reading", {"required": True}),
        Column("level", "string", "Level", "One class of it.", "none", "the first reading", {"required": True}),
        _people("n", "People seen", "People of the level who were seen"),
        _people("denominator", "People due", "People of the level who were due"),
        figure("share_due", "Share of those due", "Share of the level.", "1", _ENTRY, **SHARE),
        figure("share_seen", "Share of those seen", "Likewise.", "1", _ENTRY, **SHARE),
        figure("share_weighted", "Share after weighting", "Likewise.", "1", _WEIGHTS, **SHARE),
        figure("difference_before", "Difference before", "Standardised difference, seen against due.", "1", _AUSTIN),
        figure("difference_after", "Difference after", "Standardised difference, weighted against due.", "1", _AUSTIN),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

_TEM = "Ulijaszek & Kerr, Br J Nutr 1999;82:165-77"

MEASUREMENT_ERROR = Table(
    "measurement_error",
    "How far readings of an unchanged person lie apart",
    "From the programme's own readings where there are enough, otherwise a published default. Readings minutes apart "
    "leave out what differs from day to day; the error between visits holds both, and is what a change is judged by.",
    "92_published_measurement_error.sql",
    ("measure", "source"),
    (
        Column("measure", "string", "Measure", "What was read.", "none", REGISTRY, {"required": True}),
        _UNIT,
        Column("source", "string", "Source", "same_visit, between_visits or published.", "none",
               "pipeline/results/measurement_error.py",
               {"enum": ["same_visit", "between_visits", "published"], "required": True}),
        Column("n", "integer", "Readings compared", f"Pairs of readings, or visits between two others, {_COARSE}. "
               f"{WITHHELD}", "1", "counted", {"minimum": 0}),
        figure("error", "Error", "Standard deviation of one reading.", "as in column unit", _TEM, minimum=0),
        figure("percent_error", "Error in percent", "Of the mean.", "%", _TEM, minimum=0),
        figure("reliability", "Reliability", "Share of the spread of readings that is not error.", "1", _TEM,
               maximum=1),
        figure("smallest_detectable_change", "Smallest detectable change", "A larger change of one person is more than "
               "error, 95 times in 100.", "as in column unit", _RELIABLE, minimum=0),
        Column("is_used", "string", "Used", "yes for the error that changes are judged by.", "none",
               "pipeline/results/measurement_error.py", {"enum": ["yes", "no"], "required": True}),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

_INDIRECT = "indirect standardisation: Breslow & Day, IARC Sci Publ 82 (1987)"
_FUNNEL = "Spiegelhalter, Stat Med 2005;24:1185-202 and Qual Saf Health Care 2005;14:347-51"
_SHRUNKEN = "empirical Bayes: Morris, J Am Stat Assoc 1983;78:47-55"
_AS_UNIT = "as in column unit"

OUTCOME_SITE = Table(
    "outcome_site",
    "Change at each site, beside all sites",
    "Adults seen at a follow-up, by the site where they entered, standardised for sex, age and BMI at entry. Sites "
    "differ in who comes, who comes back and how they measure; sites are not ranked, and a difference is no verdict.",
    "92_published_outcome_site.sql",
    ("months", "topic", "site"),
    (
        _MONTHS,
        Column("topic", "string", "Topic", "weight_change_percent: mean change of weight. lost_5_percent: share "
               "of those "
               "at a BMI of 25 or over who lost 5 % or more.", "none", "pipeline/results/outcome_site.py",
               {"enum": ["weight_change_percent", "lost_5_percent"], "required": True}),
        _UNIT,
        Column("site", "string", "Site", "Identifier of the site of entry.", "none", SETTINGS, {"required": True}),
        _people("n", "People", "People who reached it; for a mean, people seen"),
        _people("denominator", "People seen", "People seen whom the figure is about"),
        figure("value", "Standardised value", "Mean or share, were the site's people like those of all.", _AS_UNIT,
               _INDIRECT),
        figure("low", "Lower limit", "Lower limit of its 95 % interval.", _AS_UNIT, "Wilson 1927; normal"),
        figure("high", "Upper limit", "Upper limit of its 95 % interval.", _AS_UNIT, "Wilson 1927; normal"),
        figure("reference", "All sites", "Mean or share of all sites.", _AS_UNIT, _ENTRY),
        figure("funnel_low_95", "Lower 95 % funnel limit", "A site of this size like all others lies below it once in "
               "40 times.", _AS_UNIT, _FUNNEL),
        figure("funnel_high_95", "Upper 95 % funnel limit", "Likewise above.", _AS_UNIT, _FUNNEL),
        figure("funnel_low_998", "Lower 99.8 % funnel limit", "Below it once in 1000 times.", _AS_UNIT, _FUNNEL),
        figure("funnel_high_998", "Upper 99.8 % funnel limit", "Above it once in 1000 times.", _AS_UNIT, _FUNNEL),
        figure("score", "Score", "Distance from all sites, in standard deviations of an ordinary site.", "1", _FUNNEL),
        figure("q_value", "Adjusted p", "Share of false alarms among sites named at this level.", "1",
               "Benjamini & Hochberg, J R Stat Soc B 1995;57:289-300", **SHARE),
        figure("shrunken", "Shrunken value", "Drawn to the mean of the sites by as much as chance deserves. Empty with "
               "fewer than four sites.", _AS_UNIT, _SHRUNKEN),
        figure("shrunken_low", "Lower limit of the shrunken value", "Lower limit of its 95 % interval.", _AS_UNIT,
               _SHRUNKEN),
        figure("shrunken_high", "Upper limit of the shrunken value", "Upper limit of its 95 % interval.", _AS_UNIT,
               _SHRUNKEN),
        Column("target", "number", "Target", "The share that the settings hope for; empty without one.", "1", SETTINGS,
               SHARE),
        figure("target_probability", "Probability of the target", "That the site's true share reaches it. Empty "
               "without a target.", "1", _SHRUNKEN, **SHARE),
        METHOD,
        FLAG,
    ),
)  # fmt: skip

_CALLAWAY = (
    "Callaway & Sant'Anna, J Econometrics 2021;225:200-30; errors: pipeline/statistics/group_time_effect.py"
)

GROUP_TIME_EFFECT = Table(
    "group_time_effect",
    "Sites that started against sites that had not yet",
    "Change of weight after the programme began at a site, less the change over the same time at sites where it "
    "had not "
    "begun. It is the programme's only if those sites would have gone alike without it: the rows before the start are "
    "the check. Without sites that started at different times the table is empty, and change is not attributed.",
    "92_published_group_time_effect.sql",
    ("kind", "started", "measured_in", "event_time"),
    (
        Column("kind", "string", "Kind", "group_time: one start and period. pre_trend: the same before the "
               "start. event: "
               "all at one time since the start. overall: all after it. overall_before: all before it.", "none",
               _CALLAWAY, {"enum": ["group_time", "pre_trend", "event", "overall", "overall_before"],
                           "required": True}),
        Column("started", "string", "Started", "Period in which the programme began; empty over several.", "none",
               SETTINGS),
        Column("measured_in", "string", "Measured in", "Period of the later reading; empty over several.", "none",
               "date of the reading"),
        Column("event_time", "integer", "Periods since the start", "0 is the period of the start, below it before.",
               "1", SETTINGS),
        _people("n", "People", "Most people of the starting sites in one comparison"),
        _people("comparison_n", "People compared with", "Most people of the other sites in one comparison"),
        Column("sites", "integer", "Sites", "Sites that started.", "{site}", SETTINGS, {"minimum": 1}),
        Column("comparison_sites", "integer", "Sites compared with", "Sites not yet started.", "{site}", SETTINGS,
               {"minimum": 1}),
        figure("value", "Effect", "Difference of changes of weight, 100 × log ratio: about percent.", "%", _CALLAWAY),
        figure("low", "Lower limit", "Lower limit of its 95 % interval.", "%", _CALLAWAY),
        figure("high", "Upper limit", "Upper limit of its 95 % interval.", "%", _CALLAWAY),
        figure("p", "p", "Probability of so large a difference without any.", "1", _CALLAWAY, **SHARE),
        METHOD,
        FLAG,
    ),
)  # fmt: skip
