"""Every sentence of the pages, in one place, so that it can be read through and translated as a whole.

Placeholders in braces are filled by `say`. Words are plain and about groups: "people measured", "share of".
"""

from __future__ import annotations

TEXT: dict[str, str] = {
    # ---- frame of every page
    "skip": "Skip to the content",
    "nav": "Pages",
    "nav.index": "At a glance",
    "nav.prevalence": "Shares",
    "nav.percentiles": "Percentiles",
    "nav.sites": "Sites",
    "nav.data-quality": "Data quality",
    "nav.methods": "Methods and cautions",
    "stamp": "Data to {last}. Made as of {as_of} with {software}.",
    "footer.caution": "These are figures about groups, not a diagnosis of anyone. Analysers of this kind "
    "are not for people with a pacemaker or other implanted electronic device, and "
    "readings in pregnancy are not counted as ordinary ones. Drink, food, exercise and "
    "time of day move a reading.",
    "footer.more": "All cautions and definitions",
    "noscript": "Charts and choices need JavaScript. Without it each table shows the latest period; the "
    "linked files hold every figure.",
    "controls": "Choose what the charts show",
    "reset": "Back to the first view",
    "share": "The address of this page keeps your choice: copy it to share this view.",
    "choice.banding": "Which share",
    "choice.measure": "Which measure",
    "control.sex": "Sex",
    "control.age": "Age",
    "control.period": "Period",
    "control.band": "Band",
    "control.order": "Order of sites",
    "control.site": "Site",
    "order.name": "By name",
    "order.people": "By people measured",
    "sex.all": "All",
    "sex.female": "Female",
    "sex.male": "Male",
    "all_sites": "All sites",
    "figures": "The figures",
    "figures.show": "Show the figures as a table ({rows} rows)",
    "source": "Source: {file}",
    "units": "Figures are rounded for reading; the file has them in full.",
    "withheld": "withheld",
    "withheld.why": "Withheld: to protect people in small groups. It does not mean zero.",
    "none": "none measured",
    "none.found": "none found",
    "no_limit": "no limit",
    "unreliable": "unreliable",
    "chart.alt": "Chart. {headline} The same figures are in the table that follows.",
    "chart.failed": "The chart could not be drawn here; the table holds the same figures.",
    # ---- words for a group
    "group.all.adult": "adults aged {ages}",
    "group.female.adult": "women aged {ages}",
    "group.male.adult": "men aged {ages}",
    "group.all.young": "children and young people aged {ages}",
    "group.female.young": "girls and young women aged {ages}",
    "group.male.young": "boys and young men aged {ages}",
    "group.all.mixed": "people aged {ages}",
    "group.female.mixed": "girls and women aged {ages}",
    "group.male.mixed": "boys and men aged {ages}",
    "and": " and ",
    # ---- columns
    "column.band": "Band",
    "column.age": "Age",
    "column.sex": "Sex",
    "column.period": "Period",
    "column.site": "Site",
    "column.check": "Check",
    "column.item": "Rows",
    "column.measure": "Measure",
    "column.share": "Share",
    "column.interval": "95 % interval",
    "column.n": "In the band",
    "column.people": "Measured",
    "column.percentile": "{p}th",
    "column.percentile.1": "{p}st",
    "column.percentile.2": "{p}nd",
    "column.percentile.3": "{p}rd",
    "column.percentile.50": "Middle (50th)",
    "column.rows": "Rows or readings",
    "column.out_of": "Out of",
    "column.share_of": "Share of these",
    # ---- overview
    "index.title": "{programme}",
    "index.question": "The programme at a glance",
    "index.lead": "What {sites} sites measured from {first} to {last}, as shares of groups of people. Each "
    "person counts once a period, however often they came.",
    "index.people": "people measured",
    "index.readings": "readings accepted",
    "index.sites": "sites",
    "index.periods.quarter": "quarters",
    "index.periods.month": "months",
    "index.now": "Where things stood in {period}",
    "index.changes": "What has changed since {first}",
    "index.changes.note": "Different people may come in each period: a change can be in who was measured. "
    "A change is named only where the first and the last interval do not overlap.",
    "index.reach": "How many people were measured in each period?",
    "index.reach.read": "A person who came in several periods is counted in each of them.",
    "index.more": "See it by age, sex and period",
    # ---- shares
    "prevalence.title": "Shares: {banding}",
    "prevalence.question": "What share of people is in each band?",
    "prevalence.now": "How do people divide over the bands?",
    "prevalence.trend": "Has it changed over time?",
    "prevalence.age": "Does it differ with age?",
    "prevalence.read": "The bead is the share; the bar around it is the 95 % interval: the range of true "
    "shares that fit the figures. A long bar means few people.",
    "prevalence.read.trend": "One panel a band. Each has its own level, but the same height is the same "
    "difference in all. A dashed line marks a withheld figure.",
    "prevalence.read.age": "Round beads: female. Square beads: male. Lines are 95 % intervals; a dashed "
    "line marks a withheld figure.",
    "prevalence.bands": "How the bands are drawn",
    "prevalence.water": "How much of the fat-free mass is water?",
    "prevalence.water.note": "Water as a share of weight falls as fat rises, so a share below the band is "
    "not by itself dehydration. Water in fat-free mass, about 0.73 in healthy "
    "adults, shows hydration without that effect. Some analysers compute water "
    "from fat-free mass: then this figure hardly varies and says little of its "
    "own.",
    "water.beside": "Beside it, water in fat-free mass: {sentence}",
    # ---- percentiles
    "percentiles.title": "Percentiles: {measure}",
    "percentiles.question": "How are people spread out?",
    "percentiles.age": "How does it go with age?",
    "percentiles.trend": "Has it changed over time?",
    "percentiles.read": "Thin line: 3rd to 97th percentile. Bar: 10th to 90th. Thick bar: the middle half, "
    "25th to 75th. Bead: the middle value (50th). A dashed line marks a withheld "
    "group; where an outer part is missing, those percentiles are withheld.",
    "percentiles.read.interval": "Brackets hold the 95 % interval. “No limit” means that too few people "
    "were measured for a limit at that level.",
    "percentiles.not_norm": "A percentile says where a value stands among the people measured here. It is "
    "not a norm and not a goal.",
    # ---- sites
    "sites.title": "Sites: {banding}",
    "sites.question": "How do sites differ?",
    "sites.figure": "What share is in the chosen band, site by site?",
    "sites.unadjusted": "These are plain shares. Sites measure people of different ages and different "
    "reasons for coming, and nothing here is adjusted for that: a difference between "
    "two sites is not a judgement of their work. Sites stand in the order of their "
    "names or of the number of people measured.",
    "sites.read": "The upright line is the share over all sites, the band around it its 95 % interval.",
    "sites.list": "A page for each site",
    "site.title": "{site}",
    "site.question": "What did {site} measure?",
    "site.read": "Filled bead and bar: this site and its 95 % interval. Hollow diamond: all sites together.",
    "site.lead": "Plain shares of the people measured here, beside all sites together. Nothing is adjusted "
    "for age or for why people came: a difference is not a judgement of the work done here.",
    "site.now": "How do people here divide over the bands?",
    "site.trend": "Has it changed over time?",
    "site.measures": "Typical values",
    "site.measures.lead": "Middle value and middle half of the people measured here, {group}, {period}.",
    "site.quality": "What became of the files' rows",
    "site.kind.gym": "Leisure or fitness centre",
    "site.kind.clinic": "Clinic",
    "site.kind.school": "School",
    "site.kind.workplace": "Workplace",
    "site.kind.community": "Community venue",
    "site.kind.other": "Site",
    "site.back": "All sites",
    # ---- data quality
    "data-quality.title": "Data quality",
    "data-quality.question": "Can the figures be trusted?",
    "data-quality.lead": "Every row that a site sent was accepted, held back, or found to be a repeat or a "
    "correction. Nothing is dropped silently. Held rows wait for the site to correct "
    "and send them again.",
    "data-quality.rows": "What became of the rows each site sent?",
    "data-quality.rows.read": "Each panel has its own meaning but one scale: the share of the rows that a "
    "site sent.",
    "data-quality.checks": "Which checks found something?",
    "data-quality.checks.read": "The bar is the share of the rows or readings that the check looked at.",
    "data-quality.meaning.show": "Show all {checks} checks",
    "data-quality.meaning": "What each check means, and why it is made",
    "item.rows_read": "Read",
    "item.rows_accepted": "Accepted",
    "item.rows_held": "Held back",
    "item.rows_duplicate": "Repeats",
    "item.rows_superseded": "Corrected later",
    "item.readings": "Readings",
    "item.people": "People",
    "item.files_held": "Files held back",
    "severity.hold": "holds the row back",
    "severity.set_aside": "keeps the reading, does not count it",
    "severity.flag": "counts the reading, makes a note",
    # ---- methods
    "methods.title": "Methods and cautions",
    "methods.question": "What do the figures mean, and what do they not mean?",
    "methods.cautions": "Cautions",
    "methods.how": "How the figures are made",
    "methods.bandings": "Bands",
    "methods.measures": "Measures",
    "methods.downloads": "Every table, to download",
    "methods.downloads.lead": "Each table as CSV and as Parquet, with one row a figure. datapackage.json "
    "describes every column in a form that software can read.",
    "methods.columns": "Columns of {table}",
    "methods.release": "This release",
    "methods.ages": "For people aged {age_from} to {age_to}.",
    "methods.rows": "{rows} rows",
    "methods.settings": "Fingerprint of the settings it was made with (SHA-256):",
    "column.unit": "Unit",
    "column.ages": "Ages",
    "column.source": "Source",
    "column.column": "Column",
    "column.meaning": "Meaning",
    "column.half": "Middle half (25th to 75th)",
    # ---- headlines: computed from the figures, hedged by their intervals
    "h.most": "{share} of {group} measured in {period} were in ‘{band}’, the most common band (95 % "
    "interval {low} to {high}).",
    "h.most.hidden": "{share} of {group} measured in {period} were in ‘{band}’ (95 % interval {low} to "
    "{high}), the most common of the bands that can be shown.",
    "h.tied": "Among {group} measured in {period}, ‘{band}’ ({share}) was not clearly more common than "
    "‘{other}’ ({other_share}): their 95 % intervals overlap.",
    "h.withheld": "Figures for {group} in {period} are withheld to protect people in small groups.",
    "h.nobody": "None of {group} were measured in {period}.",
    "h.trend.change": "Between {first} and {last} the share of {group} {changes}{rest}.",
    "h.trend.rose": "rose in {list}",
    "h.trend.fell": "fell in {list}",
    "h.trend.rest": "; in the other bands there was no clear change",
    "h.trend.item": "‘{band}’ ({before} to {after})",
    "h.trend.same": "No clear change for {group} between {first} and {last}: in each band the two 95 % "
    "intervals overlap.",
    "h.trend.short": "For {group}, two periods with published figures are needed to speak of change.",
    "h.age.differ": "In {period}, ‘{band}’ ranged from {low_share} of people aged {low_age} to {high_share} "
    "of those aged {high_age}; the two 95 % intervals do not overlap.",
    "h.age.same": "In {period} no clear difference in ‘{band}’ between age groups: the intervals of the "
    "lowest and the highest overlap.",
    "h.age.none": "In {period} too few age groups have published figures for ‘{band}’ to compare them.",
    "h.spread": "Half of {group} measured in {period} lay between {p25} and {p75}{unit}; the middle value "
    "was {p50} (95 % interval {low} to {high}).",
    "h.spread.open": "Half of {group} measured in {period} lay between {p25} and {p75}{unit}; the middle "
    "value was {p50}.",
    "h.median.change": "Between {first} and {last} the middle value for {group} went from {before} to "
    "{after}{unit}; the two 95 % intervals do not overlap.",
    "h.median.same": "No clear change of the middle value for {group} between {first} and {last}: {before} "
    "and {after}{unit}, with overlapping 95 % intervals.",
    "h.sites.most": "In {period}, {inside} of the {shown} sites with figures have an interval that "
    "includes the share over all sites, {share}: differences of that size can be chance.",
    "h.sites.beyond": " For the other {beyond}, who was measured may still explain the difference.",
    "h.sites.hidden": " {hidden} more have no figure that can be shown.",
    "h.sites.none": "In {period} no site has a figure for this choice that can be shown.",
    "h.rows": "Of {read} rows that the sites sent, {accepted} ({share}) were accepted.",
    "h.rows.some": "The figures that can be shown add up to {accepted} rows accepted; others are withheld.",
    "h.checks": "{site}: the check that found most was ‘{check}’: {n} of {of} ({share}).",
    "h.checks.none": "{site}: no check found anything that can be shown.",
    "h.reach": "{people} people were measured in {last}; in {first} it was {before}.",
    "h.reach.one": "{people} people were measured in {last}.",
    "h.reach.none": "How many people were measured in {last} is withheld to protect people in small groups.",
}

CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Groups, not persons",
        "A share of a group says nothing about one person in it. BMI and impedance are "
        "estimates; no band on these pages is a diagnosis, and nobody should start, "
        "stop or change a treatment because of it.",
    ),
    (
        "Implanted electronic devices",
        "An analyser passes a small current through the body. It is not for "
        "people with a pacemaker or any other implanted electronic device. "
        "They can be weighed and measured in other ways, and should not be "
        "left out of a programme for it.",
    ),
    (
        "Pregnancy",
        "The equations behind body composition do not hold in pregnancy. Sites usually do not "
        "measure then, and such values do not belong in population figures.",
    ),
    (
        "Measure alike, compare alike",
        "A drink, a meal, exercise, heat, the hour, the menstrual cycle, a "
        "full bladder, clothes, dry or cold feet or a missing limb can move a "
        "reading more than a season of real change. Sites differ in how well "
        "they keep these alike, and so may their figures.",
    ),
    (
        "Hydration",
        "Water as a share of weight falls as fat rises. A low share is not by itself "
        "dehydration, a high one not by itself good hydration; read it beside water in fat-free "
        "mass.",
    ),
    (
        "Children and young people",
        "Under 20, only references for age and sex apply; adult bands do not, "
        "and fat is not banded. Ask before measuring, show figures only for "
        "groups, mind how words land, and set no goals for losing weight.",
    ),
    (
        "Eating disorders",
        "Figures about weight and fat can harm. These pages rank nobody, hold up no ideal "
        "and do not call a falling figure good in itself; low weight is a concern too. A "
        "site should know where people find help nearby.",
    ),
    (
        "People the equations do not fit",
        "Equations rest on the groups they were made from. Athletes, older "
        "people, people who are ill, and many ethnic groups can be outside "
        "them, and cut-offs may mean something else there.",
    ),
    (
        "Who came",
        "People measured at sites chose to come or were asked to. They are not a sample of the "
        "population around, and those who come again differ from those who do not.",
    ),
    (
        "Data protection",
        "Measuring needs a purpose and a legal basis such as consent, as little data as "
        "will do, pseudonyms, an end to keeping them, and a way to withdraw. Local law, "
        "ethics review and licensed practice come first.",
    ),
)

HOW: tuple[tuple[str, str], ...] = (
    (
        "One person, one reading",
        "Each person counts once a period, with the last reading that passed every check.",
    ),
    (
        "Bands",
        "BMI is computed from weight and height as measured, without rounding, and each band takes "
        "its lower edge in, unless its rule says otherwise.",
    ),
    (
        "Intervals",
        "A 95 % interval holds the values that fit the figures. The files name the method of "
        "each. Where two intervals overlap, these pages do not speak of a difference.",
    ),
    (
        "Percentiles",
        "A percentile is the value that so many of a hundred people measured here did not "
        "pass. Definition and interval method stand in the file.",
    ),
    (
        "Withheld figures",
        "A group with fewer than {minimum_count} people in it, or from which such a group "
        "could be worked out, is withheld; percentiles need {minimum_people} people. All "
        "withheld figures look alike on purpose.",
    ),
    ("Rounding", "Pages round for reading. The files hold the figures in full."),
)


def say(key: str, **values: object) -> str:
    """The text under `key` with its placeholders filled."""
    return TEXT[key].format(**values)


def group_words(sex: str, age_from: int, age_to: int) -> str:
    """(female, 20, 99) → "women aged 20–99"."""
    life = "adult" if age_from >= 18 else "young" if age_to < 20 else "mixed"
    return say(f"group.{sex}.{life}", ages=f"{age_from}–{age_to}" if age_from != age_to else age_from)


def listed(items: list[str]) -> str:
    """[a, b, c] → "a, b and c"."""
    return ", ".join(items[:-1]) + TEXT["and"] + items[-1] if len(items) > 1 else "".join(items)


def percentile_title(p: int) -> str:
    special = f"column.percentile.{p}"
    if special in TEXT:
        return say(special, p=p)
    ending = f"column.percentile.{p % 10}"
    return say(ending if ending in TEXT and p not in (11, 12, 13) else "column.percentile", p=p)
