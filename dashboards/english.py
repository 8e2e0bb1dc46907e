"""Every sentence of the pages in English, in one place, so that it can be read through and translated as a whole.

Placeholders in braces are filled by `wording.say`. An entry `name.one` is what `wording.say_of` says of one.
Words are plain and about groups: "people measured", "share of".
"""

from __future__ import annotations

from dashboards.english_of_outcomes import OUTCOMES

ENGLISH: dict[str, str] = {
    **OUTCOMES,  # the page "Did the programme work?"
    # ---- frame of every page
    "skip": "Skip to the content",
    "nav": "Pages",
    "nav.index": "At a glance",
    "nav.prevalence": "Shares",
    "nav.percentiles": "Percentiles",
    "nav.sites": "Sites",
    "nav.data-quality": "Data quality",
    "nav.report": "Report",
    "nav.methods": "Methods and cautions",
    "stamp": "Data to {last}. Made as of {as_of} with {software}.",
    "stamp.waiting": "Curves, analysers and outcomes rest on what had come by {day}.",
    "footer.caution": "These are figures about groups, not a diagnosis of anyone. Analysers of this kind "
    "are not for people with a pacemaker or other implanted electronic device, and "
    "their readings do not hold in pregnancy. Drink, food, exercise and time of day move a reading.",
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
    "figures.show.one": "Show the figures as a table ({rows} row)",
    "source": "Source: {file}",
    "units": "Figures are rounded for reading; the files that the charts name have them in full.",
    "withheld": "withheld",
    "withheld.why": "Withheld: to protect people in small groups. It does not mean zero.",
    "none": "none measured",
    "none.or_withheld": "withheld, or none measured",
    "none.not_made": "not worked out for this group",
    "no_interval": "no interval",
    "no_figure": "–",
    "p.small": "< 0.001",
    "none.found": "none found",
    "no_limit": "no limit",
    "unreliable": "unreliable",
    "unreliable.why": "Unreliable (an open bead): too few people for a precise share. It stands in no sentence.",
    "chart.alt": "Chart. {headline} The same figures are in the table that follows.",
    "chart.none": "No figure of this choice can be shown; the table says why.",
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
    "range": "{low} to {high}",
    # ---- columns
    "column.band": "Band",
    "column.age": "Age",
    "column.year": "Age",
    "column.centile": "Of the reference",
    "column.sex": "Sex",
    "column.period": "Period",
    "column.site": "Site",
    "column.check": "Check",
    "column.kind": "Share",
    "column.analyser": "Analyser",
    "column.entry": "What was looked at",
    "column.p": "p",
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
    "index.lead.period": "What {sites} sites measured in {last}, as shares of groups of people. Each person counts "
    "once, however often they came.",
    "index.people": "people measured",
    "index.readings": "readings accepted",
    "index.people.one": "person measured",
    "index.readings.one": "reading accepted",
    "index.sites": "sites",
    "index.sites.one": "site",
    "index.periods.quarter": "quarters",
    "index.periods.month": "months",
    "index.periods.quarter.one": "quarter",
    "index.periods.month.one": "month",
    "index.answers": "What do you want to know?",
    "index.to.outcomes": "How it was worked out",
    "index.to.sites": "Every site",
    "index.to.data-quality": "What each site can mend",
    "index.help": "Which sites could use help with their readings?",
    "help.analysers": "A check weight is due at {list}: analysers there gave a signal.",
    "help.analysers.one": "A check weight is due at {list}: an analyser there gave a signal.",
    "help.analysers.many": "A check weight is due at {n} sites, whose analysers gave a signal.",
    "help.overdue": "Readings are overdue from {list}.",
    "help.overdue.one": "Readings are overdue from {list}.",
    "help.overdue.many": "Readings are overdue from {n} sites.",
    "index.downloads": "Where are the tables?",
    "index.downloads.words": "Every figure is in a table, as CSV and as Parquet; a workbook holds the latest period, "
    "and a report, as a page or as a PDF, says it in short.",
    "index.now": "Where things stood in {period}",
    "index.changes": "What has changed since {first}",
    "index.changes.fitted": "Different people may come in each period: a change can be in who was measured. A trend "
    "is named only where its 95 % interval does not include “no trend”.",
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
    "prevalence.method": "How the intervals are made: {method}.",
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
    "percentiles.age": "How are values spread at each age?",
    "percentiles.trend": "Has it changed over time?",
    "percentiles.read": "Thin line: 3rd to 97th percentile. Bar: 10th to 90th. Thick bar: the middle half, "
    "25th to 75th. Bead: the middle value (50th). A dashed line marks a "
    "group that is withheld, or in which none were measured; where an outer part is missing, those percentiles "
    "are withheld.",
    "percentiles.read.interval": "Brackets hold the 95 % interval. “No limit” means that too few people "
    "were measured for a limit at that level.",
    "percentiles.source": "Where the measure comes from: {source}.",
    "percentiles.not_norm": "A percentile says where a value stands among the people measured here. It is "
    "not a norm and not a goal.",
    # ---- smooth curves
    "curves.question": "How do the percentiles run with age?",
    "curves.read": "Lines from below: 3rd, 10th, 25th, 50th, 75th, 90th and 97th percentile, named at their right "
    "end; the light band is the 95 % interval of the 50th. Each person counts once, by their last reading over all "
    "periods, so the choice of period does not move these lines. They are of people of different ages, not of anyone "
    "growing older. The table has every fifth year of age, the file every year.",
    "curves.column.interval": "95 % interval of the middle",
    "curves.none": "no curve at this age",
    "curves.of": "{sex}: {what}",
    "curves.not_made": "no curve was asked for.",
    "curves.withheld": "the curves are withheld to protect people in small groups.",
    "curves.why": "no curve is drawn. The reason: {why}.",
    "curves.method": "Method ({sexes}): {method}. In full: {detail}.",
    "curves.method.why": "Why this one: {why}.",
    "curves.method.lms": "LMS, a distribution whose middle, spread and skewness run smoothly with age",
    "curves.method.regression quantile": "quantile regression on splines of age, put in order where lines would cross",
    # ---- the WHO reference
    "who.question": "Where do our 5- to 19-year-olds stand against the WHO 2007 reference?",
    "who.centile": "Below the {centile} centile",
    "who.column.centile": "Of the reference",
    "who.column.share": "Share below it",
    "who.column.expected": "In the reference",
    "who.column.n": "Below it",
    "who.read": "Filled bead: the share of those measured here whose BMI for their age and sex is below the centile; "
    "bar: its 95 % interval. Hollow diamond: the share of the reference below it, by definition.",
    "who.note": "The WHO 2007 reference says how BMI was spread among children taken as a standard of growth. Fewer "
    "below a centile than in the reference means that BMI here runs higher, more that it runs lower. It says nothing "
    "about any one child.",
    # ---- standardised shares, fitted trends
    "standardised.question": "Would it look the same with a standard mix of ages?",
    "standardised.crude": "As measured",
    "standardised.standardised": "Age-standardised",
    "standardised.read": "Bead: the share as measured. Hollow diamond under it: the share that there would be if the "
    "ages were those of the standard. Bars are 95 % intervals. Use the standardised share to set periods or other "
    "programmes side by side, the share as measured to say how many people there were.",
    "standardised.method": "Standard: {standard}. Method: {method}.",
    "standard": "the standard population ‘{name}’",
    "standard.who-world": "the WHO world standard population",
    "standard.esp-2013": "the European standard population of 2013",
    "standard.us-2000": "the US standard population of 2000",
    "method": "Method: {method}.",
    "methods.elsewhere": ". In other rows: ",
    "trend.question": "How firm is the trend?",
    "trend.column.odds": "Odds ratio a period",
    "trend.column.points": "Percentage points a period",
    "trend.column.people": "Counted, over all periods",
    "trend.read": "An odds ratio of 1 a period is no trend, above 1 a rise, below 1 a fall. The interval allows for "
    "people of one site being alike and for people who came in several periods. With many bands, one in twenty shows "
    "a trend by chance alone.",
    # ---- sites
    "sites.title": "Sites: {banding}",
    "sites.question": "How do sites differ?",
    "sites.figure": "What share is in the chosen band, site by site?",
    "sites.unadjusted": "These are plain shares. Sites measure people of different ages and different "
    "reasons for coming, and nothing here is adjusted for that: a difference between "
    "two sites is not a judgement of their work. Sites stand in the order of their "
    "names or of the number of people measured.",
    "sites.read": "The upright line is the share over all sites, the band around it its 95 % interval.",
    "sites.adjusted": "First plain shares, then shares standardised for age and sex. Even these leave out why people "
    "came, and a difference between two sites is not a judgement of their work. Sites stand in the order of their "
    "names or of the number of people measured, never of a figure.",
    "sites.means": "Means of measures",
    "sites.shares": "Shares in bands",
    "sites.mean.title": "Sites: mean of {measure}",
    "sites.mean.lead": "Means standardised for age and sex, so that sites with other visitors can be set side by side. "
    "They leave out why people came and which analyser was used: a difference is not a judgement of anyone’s work.",
    "sites.mean.about": "{measure}: {group}, women and men together.",
    "compare.funnel.share": "Which sites differ by more than chance? Shares standardised for age and sex",
    "compare.funnel.mean": "Which sites differ by more than chance? Means standardised for age and sex",
    "compare.people": "People measured",
    "compare.none": "not compared",
    "compare.points": "percentage points",
    "compare.column.share": "Standardised share",
    "compare.column.mean": "Standardised mean",
    "compare.column.95": "Chance alone: 95 %",
    "compare.column.998": "Chance alone: 99.8 %",
    "compare.column.q": "q",
    "compare.column.shrunken": "Shrunken estimate",
    "compare.column.sites": "Sites",
    "compare.column.overall": "Over all sites",
    "compare.column.sd": "Spread between sites (SD)",
    "compare.column.i2": "I²",
    "compare.column.Q": "Q",
    "compare.column.factor": "Overdispersion",
    "compare.read": "Each bead is a site: further right, more people. The level line is the figure over all sites; the "
    "lines around it hold 95 % (dashed) and 99.8 % (dotted) of sites of that size if sites differed by chance alone "
    "(or by chance and the usual spread between sites, where the method says so). q is the share of false alarms to "
    "expect among the sites with a q as small as this.",
    "compare.can": "What a funnel can tell: a site outside the limits differs by more than its size explains. That is "
    "worth a question (who came, how was it measured, which analyser?), not a verdict.",
    "compare.cannot": "What it cannot tell: a site inside the limits is not proved equal, above all a small one; and "
    "what was not standardised for, such as why people came, stays in the figure.",
    "compare.shrunken": "What is the best guess for each site?",
    "compare.shrunken.read": "Bead and bar: the site’s figure drawn towards all sites, the more so the fewer people it "
    "measured, with its 95 % interval. Small hollow diamond: its own figure before that. The upright line is the "
    "figure over all sites. A shrunken estimate is the better guess of what to expect next, and hides a small site "
    "that is really different.",
    "compare.between": "How much do sites differ beyond chance?",
    "compare.between.read": "The spread (SD) is that of the true figures of sites, as far as it can be told from "
    "chance. I² is the share of the variation between sites that chance does not explain; with few people a site it "
    "is small whatever the spread. Overdispersion above 1 means more variation than the funnel’s limits suppose.",
    "sites.list": "A page for each site",
    "site.question": "What did {site} measure?",
    "site.read": "Filled bead and bar: this site and its 95 % interval. Hollow diamond: all sites together.",
    "site.lead": "Plain shares of the people measured here, beside all sites together. Nothing is adjusted "
    "for age or for why people came: a difference is not a judgement of the work done here.",
    "site.last": "For {last} there is no figure of this site, so the page opens with {opening}.",
    "site.left_out": "There are no figures of this site for {list}: either nobody was measured, or all of them are "
    "withheld.",
    "quoted": "‘{words}’",
    "site.measures": "Typical values",
    "site.measures.lead": "Middle value and middle half of the people measured here, {group}, {period}.",
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
    "device.question": "Are the analysers steady? {measure} ({unit})",
    "device.named": "{site}, analyser {device}",
    "device.no_figure": "too few repeated readings",
    "device.column.difference": "Difference",
    "device.column.signal": "Signal",
    "device.column.upper": "Upwards sum",
    "device.column.lower": "Downwards sum",
    "device.column.decision": "Signals beyond",
    "device.column.n": "Changes compared",
    "device.read": "Bead and bar: by how much the analyser read more or less than expected from the same people’s "
    "readings elsewhere, with the 95 % interval. A ring marks a signal: what people’s changes tell against an analyser "
    "in order has passed its limit. ‘Not determined’ means that something changed at the site and that the changes do "
    "not tell which analyser; ‘analyser or pace’, that a lone analyser drifts or people there began to gain or lose "
    "otherwise, as when a programme starts. With more than {most} analysers, “All sites” shows those with a signal.",
    "device.note": "A signal is a reason to put a check weight on every analyser of the site: another floor, a repair, "
    "a new analyser, a clothing weight not taken off (about a kilogram more), or chance. It changes no figure on these "
    "pages.",
    "device.as_above": "To be read like the figure before.",
    "signal.": "–",
    "signal.shift": "shift",
    "signal.drift": "drift",
    "signal.not determined": "not determined",
    "signal.pace": "analyser or pace",
    "signal.clothing weight": "about a clothing weight",
    "entry.question": "Do the values look as if they were read off and passed on unchanged?",
    "entry.terminal_digit_weight": "Last digits of weight",
    "entry.terminal_digit_height": "Last digits of height",
    "entry.duplicated": "Repeated values",
    "entry.impossible": "Impossible values",
    "entry.athlete_mode": "Athlete mode",
    "entry.column.value": "Share",
    "entry.column.statistic": "Chi-square, or times the other sites",
    "entry.read": "Last digits: the share is that of readings whose last digit would have to change to make all digits "
    "equally common, the count that of the commonest digit; chi-square and p say whether chance can do that. Rounding "
    "by a person or values typed from memory make such patterns: worth checking, and often harmless. The other rows "
    "are shares of the site’s rows or readings, how many times that of the other sites they are, and whether chance "
    "can do that.",
    "data-quality.meaning.show": "Show all {checks} checks",
    "arrivals": "Do the sites' readings still come?",
    "arrivals.read": "By each site's last period with readings. A site is late when a reading is overdue by the "
    "end of that period, and silent when it is overdue by as much again.",
    "arrivals.expected": "Readings expected",
    "arrivals.last": "Last period with readings",
    "arrivals.state": "State",
    "expected.weekly": "Every week",
    "expected.monthly": "Every month",
    "expected.quarterly": "Every quarter",
    "arrival.on_time": "on time",
    "arrival.late": "late",
    "arrival.silent": "silent",
    "arrival.nothing_yet": "nothing yet",
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
    # ---- the quarter's report
    "report.title": "Report on {period}",
    "report.lead": "{programme}: what was measured in {period}, how it stands against the period before, and how far "
    "the figures can be trusted.",
    "report.brief": "In short",
    "report.reach": "How many people were reached?",
    "report.sites_heard.all": "Figures of all {sites} sites can be shown for {period}.",
    "report.sites_heard": "Figures of {shown} of {sites} sites can be shown for {period}; the others measured too few "
    "people, or sent nothing for it.",
    "report.shares": "How do people stand, and has it changed since the period before?",
    "report.shares.lead": "Each person counts once a period. Who comes differs from one period to the next, so a "
    "change can be in who was measured; it is not by itself an effect of the programme.",
    "report.shares.read": "Bead: this period. Hollow diamond under it: the period before. Bars: 95 % intervals; a "
    "change is named only where the two do not overlap.",
    "report.since": "{banding}: {sentence}",
    "report.retention.read": "Of adults who were due. Why people stayed away is not known from readings.",
    "report.lost": "How many lost 5 % of their weight or more?",
    "report.lost.read": "Of those who entered at a BMI of 25 or over: among those seen, weighted for who came again, "
    "and counted over all who were due with no change for those not seen.",
    "report.funnel.read": "Each bead is a site: further right, more people. Between the dashed lines lie 95 %, between "
    "the dotted lines 99.8 % of sites that differ by chance alone, or by chance and the usual spread between sites.",
    "report.variation": "Do sites differ by more than chance?",
    "report.quality": "How far can the figures be trusted?",
    "report.checks": "Which checks found most?",
    "report.device": "{measure}: {sentence}",
    "report.methods": "How the figures are made",
    "report.cautions": "What the figures do not mean",
    "report.download": "The same report as a PDF",
    "report.page": "page {page} of {pages}",
    "report.table": "The figures behind the chart",
    "report.pages": "The pages beside this report have every figure by age, sex, period and site, and every table to "
    "download.",
    # ---- the workbook
    "book.contents": "Contents",
    "book.dictionary": "Dictionary",
    "book.table": "Table",
    "book.title": "Title",
    "book.rows": "Rows",
    "book.period": "Tables by period hold {period}, and rows over all periods where they have any; the CSV and Parquet "
    "files hold every period.",
    "book.empty": "An empty cell is withheld to protect people in small groups, where the column flag says so, or does "
    "not apply.",
    "book.cut": "More than {most} rows: single sites are left out here, the files have them.",
    # ---- methods
    "methods.title": "Methods and cautions",
    "methods.question": "What do the figures mean, and what do they not mean?",
    "methods.cautions": "Cautions",
    "methods.how": "How the figures are made",
    "methods.bandings": "Bands",
    "methods.measures": "Measures",
    "methods.downloads": "Every table, to download",
    "methods.workbook": "All tables of the latest period as one workbook",
    "methods.downloads.lead": "Each table as CSV and as Parquet, with one row a figure. datapackage.json "
    "describes every column in a form that software can read.",
    "methods.columns": "Columns of {table}",
    "methods.release": "This release",
    "methods.ages": "For people aged {age_from} to {age_to}.",
    "methods.rows": "{rows} rows",
    "methods.rows.one": "{rows} row",
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
    "h.tied.hidden": "Only some bands can be shown for {group} in {period}, and none of those is clearly the "
    "most common.",
    "h.withheld": "Figures for {group} in {period} are withheld to protect people in small groups.",
    "h.unreliable": "Too few people among {group} were measured in {period} for a precise share of any band.",
    "h.absent": "For {group} in {period} there are no percentiles: either none were measured, or the group is "
    "withheld to protect people in small groups.",
    "h.nobody": "There is no figure for {group} in {period}: either nobody was measured, or the group is withheld to "
    "protect people in small groups.",
    "h.trend.change": "Between {first} and {last} the share of {group} {changes}{rest}.",
    "h.trend.rose": "rose in {list}",
    "h.trend.fell": "fell in {list}",
    "h.trend.rest": "; in the other bands that can be compared there was no clear change",
    "h.trend.item": "‘{band}’ ({before} to {after})",
    "h.trend.same": "No clear change for {group} between {first} and {last}: in each band that can be compared the two "
    "95 % intervals overlap.",
    "h.trend.short": "For {group}, two periods with published figures are needed to speak of change.",
    "h.since.change": "Since {period} the share {changes}{rest}.",
    "h.since.same": "Since {period} no share changed clearly.",
    "h.since.none": "No share can be set beside {period}.",
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
    "h.fitted.change": "From {first} to {last} the share of {group} {changes}{rest}.",
    "h.fitted.rose": "rose in {list}",
    "h.fitted.fell": "fell in {list}",
    "h.fitted.item": "‘{band}’ (by about {points} percentage points a period)",
    "h.fitted.rest": "; in the other bands that can be shown there is no clear trend",
    "h.fitted.same": "No clear trend for {group} from {first} to {last}: in each band that can be shown the "
    "95 % interval of the trend includes 1, no trend.",
    "h.fitted.count": "For {group}, {clear} of the {fitted} trends that can be shown have a 95 % interval that leaves "
    "out 1, no trend.",
    "h.fitted.withheld": "The trend for {group} from {first} to {last} is withheld to protect people in small groups.",
    "h.fitted.hidden": "The trends for {group} are withheld to protect people in small groups.",
    "h.fitted.none": "A trend is fitted for the total groups of adults and of children only, not for {group}.",
    "h.standard.moved": "With the ages of {standard}, shares of {group} measured in {period} would differ by more than "
    "their intervals in {list}.",
    "h.standard.item": "‘{band}’ ({standardised} instead of {crude})",
    "h.standard.same": "With the ages of {standard}, no share of {group} measured in {period} would clearly differ: "
    "each share as measured lies within the interval of the standardised one.",
    "h.standard.none": "For {group} in {period} there is no pair of shares firm enough to compare.",
    "h.curve.differ": "the middle value is lowest at age {low_age} ({low}{unit}) and highest at age {high_age} "
    "({high}{unit}); their 95 % intervals do not overlap.",
    "h.curve.same": "no clear difference of the middle value with age; it runs between {low} and {high}{unit}, "
    "with overlapping 95 % intervals.",
    "h.curve.open": "the middle value runs between {low}{unit} (at age {low_age}) and {high}{unit} (at age "
    "{high_age}); this method gives no interval for that difference.",
    "h.who": "Of {group} measured in {period}, {list}.",
    "h.who.fewer": "{share} were {centile}, clearly fewer than the reference’s {expected}",
    "h.who.more": "{share} were {centile}, clearly more than the reference’s {expected}",
    "h.who.same": "{share} were {centile}, not clearly different from the reference’s {expected}",
    "h.who.none": "The position of {group} in {period} is withheld or rests on too few people.",
    "h.sites.most": "In {period}, {inside} of the {shown} sites with figures have an interval that "
    "includes the share over all sites, {share}: differences of that size can be chance.",
    "h.sites.beyond": " For the other {beyond}, who was measured may still explain the difference.",
    "h.sites.hidden": " {hidden} more have no figure that can be shown.",
    "h.sites.none": "In {period} no site has a figure for this choice that can be shown.",
    "h.rows": "Of {read} rows that the sites sent, {accepted} ({share}) were accepted.",
    "h.rows.some": "The figures that can be shown add up to {accepted} rows accepted; others are withheld.",
    "h.checks": "{site}: the check that found most was ‘{check}’: {n} of {of} ({share}).",
    "h.checks.none": "{site}: no check found anything that can be shown.",
    "h.compare.period": "Sites are compared in the latest periods only: choose a later one.",
    "h.compare.none": "For {group} in {period} no site has a figure that can be shown.",
    "h.compare.funnel": "Among {group} in {period}, {inside} of {shown} sites with a firm figure lie within the "
    "95 % limits around the figure over all sites, {reference}; by chance alone about {chance} would lie outside.",
    "h.compare.far": "{far} sites lie beyond the 99.8 % limits: worth a question, not a verdict.",
    "h.compare.far.one": "One site lies beyond the 99.8 % limits: worth a question, not a verdict.",
    "h.compare.shrunken": "Drawn towards all sites, the figures of {group} in {period} run from {low} to {high}; for "
    "{apart} of {shown} sites the interval leaves out the figure over all sites, {reference}.",
    "h.compare.between": "In {period} the figures of sites spread by {sd} (standard deviation) beyond chance; chance "
    "does not explain {i2} of the variation between them (I²).",
    "h.compare.between.zero": "In {period} chance alone explains the variation between sites: no spread beyond it can "
    "be told (I² {i2}).",
    "h.compare.between.none": "The spread between sites is withheld or rests on too few sites.",
    "h.device.none": "No analyser here has figures that can be shown.",
    "h.device.steady": "None of {total} analysers gave a signal.",
    "h.device.steady.one": "The analyser gave no signal.",
    "h.device.check": "{found} of {total} analysers are worth checking: {list}.",
    "h.device.check.one": "1 of {total} analysers is worth checking: {list}.",
    "h.device.many": "{found} of {total} analysers are worth checking.",
    "h.device.item": "{device} ({signal}, first in {period})",
    "h.entry.check": "Worth checking, because chance would seldom do it (p below 0.001): {list}.",
    "h.entry.item": "‘{check}’ at {n} sites",
    "h.entry.item.one": "‘{check}’ at one site",
    "h.entry.even": "Nothing here stands out by more than chance would do (no p below 0.001).",
    "h.entry.none": "There are too few rows to tell.",
    "h.reach": "{people} people were measured in {last}; in {first} it was {before}.",
    "h.reach.alone": "{people} people were measured in {last}.",
    "h.reach.none": "How many people were measured in {last} is withheld to protect people in small groups.",
    # ---- cautions
    "caution.groups": "Groups, not persons",
    "caution.groups.words": "A share of a group says nothing about one person in it. BMI and impedance are "
    "estimates; no band on these pages is a diagnosis, and nobody should start, stop or change a treatment because "
    "of it.",
    "caution.implants": "Implanted electronic devices",
    "caution.implants.words": "An analyser passes a small current through the body. It is not for people with a "
    "pacemaker or any other implanted electronic device. They can be weighed and measured in other ways, and "
    "should not be left out of a programme for it.",
    "caution.pregnancy": "Pregnancy",
    "caution.pregnancy.words": "The equations behind body composition do not hold in pregnancy. Sites usually do "
    "not measure then, and such values do not belong in population figures.",
    "caution.alike": "Measure alike, compare alike",
    "caution.alike.words": "A drink, a meal, exercise, heat, the hour, the menstrual cycle, a full bladder, "
    "clothes, dry or cold feet or a missing limb can move a reading more than a season of real change. Sites "
    "differ in how well they keep these alike, and so may their figures.",
    "caution.hydration": "Hydration",
    "caution.hydration.words": "Water as a share of weight falls as fat rises. A low share is not by itself "
    "dehydration, a high one not by itself good hydration; read it beside water in fat-free mass.",
    "caution.children": "Children and young people",
    "caution.children.words": "Under 20, only references for age and sex apply; adult bands do not, and fat is not "
    "banded. Ask before measuring, show figures only for groups, mind how words land, and set no goals for losing "
    "weight.",
    "caution.eating": "Eating disorders",
    "caution.eating.words": "Figures about weight and fat can harm. These pages rank nobody, hold up no ideal and "
    "do not call a falling figure good in itself; low weight is a concern too. A site should know where people "
    "find help nearby.",
    "caution.equations": "People the equations do not fit",
    "caution.equations.words": "Equations rest on the groups they were made from. Athletes, older people, people "
    "who are ill, and many ethnic groups can be outside them, and cut-offs may mean something else there.",
    "caution.came": "Who came",
    "caution.came.words": "People measured at sites chose to come or were asked to. They are not a sample of the "
    "population around, and those who come again differ from those who do not.",
    "caution.protection": "Data protection",
    "caution.protection.words": "Measuring needs a purpose and a legal basis such as consent, as little data as "
    "will do, pseudonyms, an end to keeping them, and a way to withdraw. Local law, ethics review and licensed "
    "practice come first.",
    # ---- how the figures are made; the last two of a release that was made so
    "how.person": "One person, one reading",
    "how.person.words": "Each person counts once a period, with the last reading that passed every check.",
    "how.bands": "Bands",
    "how.bands.words": "BMI is computed from weight and height as measured, without rounding, and each band takes "
    "its lower edge in, unless its rule says otherwise.",
    "how.intervals": "Intervals",
    "how.intervals.words": "A 95 % interval holds the values that fit the figures. The files name the method of "
    "each. Where two intervals overlap, these pages do not speak of a difference.",
    "how.percentiles": "Percentiles",
    "how.percentiles.words": "A percentile is the value that so many of a hundred people measured here did not "
    "pass. Definition and interval method stand in the file.",
    "how.withheld": "Withheld figures",
    "how.withheld.words": "A group with fewer than {minimum_count} people in it, or from which such a group could "
    "be worked out, is withheld; percentiles need {minimum_people} people. All withheld figures look alike on "
    "purpose.",
    "how.change": "Change over time",
    "how.change.words": "A person's first reading in the programme is set beside the one nearest to each follow-up. "
    "Means, shares and intervals stand for those who were seen; the page of outcomes shows what other assumptions "
    "about the rest would give. A cause is named only beside sites that had not started yet.",
    "how.analysers": "Analysers",
    "how.analysers.words": "An analyser is judged by what people's own readings changed, as far as that was known at "
    "the end of each period: a later period changes nothing that was said of an earlier one. A change further from the "
    "middle of its kind of people than three standard deviations is taken as if it lay there. What is usual is that "
    "of the changes so far; of a kind of which fewer than twenty are known, the spread of all changes counts where it "
    "is larger.",
    "how.rounding": "Rounding",
    "how.rounding.words": "Pages round for reading. The files hold the figures in full.",
    "how.rounded": "Rounded counts",
    "how.rounded.words": "Every count of people is rounded to the nearest multiple of {rounding}, each by itself, "
    "so a total need not be the sum of its parts. Shares are those of the rounded counts. Rounding alone protects "
    "nobody; small groups are withheld all the same.",
    "how.noisy": "Counts with noise",
    "how.noisy.words": "The table noisy_count holds counts with random noise that gives differential privacy. Its "
    "unit is {unit}. Over all its periods a person's budget is epsilon {epsilon:g} and delta {delta:g}. It holds "
    "for {holds_for}.",
    # ---- units in words, by their UCUM code; other codes stand as they are
    "unit.kg/m2": "kg/m²",
    "unit.kcal/d": "kcal a day",
    "unit.a": "years",
    "unit.mo": "months",
    "unit.{person}": "people",
    "unit.{site}": "sites",
    "unit.{count}": "count",
    "unit.{level}": "level",
    "unit./min": "a minute",
    "unit.h/wk": "hours a week",
}
