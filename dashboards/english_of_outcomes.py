"""The sentences of the page "Did the programme work?"; part of english.ENGLISH.

A falling weight is said to be lower, never better: what counts as better is declared in the settings and named so.
"""

from __future__ import annotations

OUTCOMES: dict[str, str] = {
    "nav.outcomes": "Outcomes",
    "outcomes.title": "Did the programme work?",
    "outcomes.question": "Did the programme work?",
    "outcomes.cautions": "Read this with the figures",
    "outcomes.caution.came": "Those who were seen again are not those who entered. The estimates differ in what they "
    "take of the others, and the range over them is part of the answer.",
    "outcomes.caution.alone": "Without a comparison nobody can say how people would have gone without the programme. "
    "Weight, season and advertising move at the same time.",
    "outcomes.caution.low": "A lower weight is not good in itself. Nobody under 20 has a weight-loss figure here, and "
    "for people of low weight a fall is a concern. Sites should know where people find help nearby.",
    "outcomes.caution.person": "These are figures about groups. For one person, a change smaller than the smallest "
    "detectable one says nothing.",
    "control.months": "Follow-up",
    "control.start": "Who",
    "months": "{months} months",
    "start.all": "All adults",
    "start.bmi_25": "BMI of 25 or over at entry",
    "who.all.all": "adults",
    "who.all.bmi_25": "adults who entered at a BMI of 25 or over",
    "who.female.all": "women",
    "who.female.bmi_25": "women who entered at a BMI of 25 or over",
    "who.male.all": "men",
    "who.male.bmi_25": "men who entered at a BMI of 25 or over",
    "seen.all.all": "adults who were seen again",
    "seen.all.bmi_25": "adults who entered at a BMI of 25 or over and were seen again",
    "seen.female.all": "women who were seen again",
    "seen.female.bmi_25": "women who entered at a BMI of 25 or over and were seen again",
    "seen.male.all": "men who were seen again",
    "seen.male.bmi_25": "men who entered at a BMI of 25 or over and were seen again",
    "column.estimator": "Estimate",
    "column.statistic": "Change of weight",
    "column.status": "What became of them",
    "column.stage": "Age at entry",
    "column.part": "What changed",
    "column.known": "Known at entry",
    "column.band_from": "Band at entry",
    "column.band_to": "Band at follow-up",
    "column.months": "Follow-up",
    "column.time": "Periods since the start",
    "column.error": "Measure and readings",
    "outcome.column.change": "Mean change",
    "outcome.column.share": "Share",
    "outcome.column.seen": "Seen",
    "outcome.column.due": "Due",
    "outcome.column.of": "Out of",
    "outcome.column.people": "People",
    "outcome.column.before": "Difference, as seen",
    "outcome.column.after": "Difference, weighted",
    "outcome.column.all_due": "Of all due",
    "outcome.column.as_seen": "Of those seen",
    "outcome.column.weighted": "Weighted",
    "outcome.column.target": "Probability of the target",
    "outcome.column.effect": "Effect",
    "outcome.column.treated": "People, started",
    "outcome.column.compared": "People, not yet",
    "outcome.column.sites": "Sites, started",
    "outcome.column.comparison_sites": "Sites, not yet",
    "outcome.column.error": "Error of one reading",
    "outcome.column.detectable": "Smallest detectable change",
    "outcome.column.reliability": "Reliability",
    "outcome.column.compared_readings": "Readings compared",
    "outcome.column.used": "Used for change",
    "used.yes": "yes",
    "used.no": "no",
    "estimator.completers": "Those seen",
    "estimator.retention_weighted": "Weighted for who came again",
    "estimator.carried_forward": "No change for those not seen",
    "estimator.less_regression_to_mean": "Less regression to the mean",
    "estimator.same_season": "As if in the same season",
    "estimator.without_signals": "Without analysers that signalled",
    "estimator.less_analyser_differences": "Less analysers’ differences",
    # ---- mean change
    "change.question": "How did weight change, and how much hangs on who came again?",
    "change.read": "Bead and bar: the mean change from entry to the follow-up and its 95 % interval. The upright line "
    "is no change. ‘Those seen’ asks about people who came again; ‘No change for those not seen’ takes the others as "
    "unchanged; ‘Weighted’ lets each person seen stand for those who began and went alike and did not come again. If "
    "drop-out depended on things never measured, all three can be off.",
    "change.read.more": "Below them the same change less what can pass for it: the fall that people chosen for a high "
    "first reading show without any effect (regression to the mean), the season, and analysers that gave a signal or "
    "differ from each other.",
    # ---- beyond error
    "reliable.question": "For how many was the change of weight more than error?",
    "reliable.better.down": "Lower by more than error (improved)",
    "reliable.worse.down": "Higher by more than error (worsened)",
    "reliable.better.up": "Higher by more than error (improved)",
    "reliable.worse.up": "Lower by more than error (worsened)",
    "reliable.unchanged": "Within error (unchanged)",
    "reliable.lost_5_percent": "Lower by 5 % or more",
    "reliable.read": "Of those who entered at a BMI of 25 or over. More than error: beyond the smallest detectable "
    "change (below). 5 %: the usual mark for a change that matters for health, decided on the exact readings. The "
    "programme’s settings declare that {direction} counts as improved.",
    "reliable.target": "Upright stroke: the target that the programme has set itself for this share.",
    "reliable.direction.down": "a lower weight",
    "reliable.direction.up": "a higher weight",
    # ---- parts
    "parts.question": "What was the change made of?",
    "part.weight": "Weight",
    "part.fat_mass": "Fat mass",
    "part.fat_free_mass": "Fat-free mass",
    "parts.read": "Mean changes of those seen; fat and fat-free mass only where the files carry them. Impedance tells "
    "fat from water badly over short times: a meal or a drink moves both.",
    # ---- retention
    "retention.question": "Who was seen again?",
    "status.followed": "Seen",
    "status.seen": "Seen at the site of entry",
    "status.seen_elsewhere": "Seen at another site",
    "status.not_counted": "Reading that does not count",
    "status.missed": "Missed, came later",
    "status.gone": "Not seen since",
    "status.not_due": "Not yet due",
    "status.site_silent": "Site has sent nothing since",
    "retention.read": "‘Not yet due’ and ‘Site has sent nothing since’ count out of everybody who entered, the rest "
    "out of those who were due. People who changed site are followed where numbers mean the same person everywhere. "
    "Who withdrew is in no figure. Why people stayed away is not known from readings.",
    "stage.20": "Adults, 20 and over",
    "stage.5": "5 to 19",
    "known": "{what}: {level}",
    "known.age": "Age",
    "known.bmi": "BMI",
    "known.sex": "Sex",
    "known.kind_of_site": "Kind of site",
    "balance.question": "Are those seen like all who were due?",
    "balance.read": "Standardised differences between those seen and all who were due, in what was known at entry. "
    "Beyond 0.1 either way is usually called imbalance. Weighting should bring them near 0; it cannot balance what "
    "was not measured.",
    # ---- transitions
    "transition.question": "Who moved between BMI bands?",
    "transition.read": "Each row: adults who entered in that band and were seen; darker is more of them. Counts are "
    "told in tens or so. Many who cross an edge were close to it: chance alone moves some each way.",
    "transition.column.share": "Share of those who entered in the band",
    # ---- children
    "children.question": "How did BMI for age change in children and young people?",
    "children.read": "Change of the BMI z-score (WHO 2007) from entry, of those under 20 at both readings. The "
    "reference already allows for growth: 0 means going along with it. There are no weight-loss figures for this age.",
    # ---- sites
    "outcome.sites.question": "What is the best guess for each site?",
    "outcome.lost.question": "At which sites did people lose 5 % or more?",
    "outcome.sites.read": "Bead and bar: mean change of weight of adults who entered there, standardised for sex, age "
    "and BMI at entry and drawn towards all sites the more so the fewer they are, with its 95 % interval. Hollow "
    "diamond: before drawing. The upright line is all sites. Sites are in the order of names or of people, never of a "
    "figure.",
    "outcome.sites.small": "The drawn figure is the better guess of what to expect next, and hides a small site that "
    "is really different. What was not standardised for, such as why people came, stays in it: it is no verdict on a "
    "site.",
    "outcome.lost.read": "Share of those seen who entered at a BMI of 25 or over, standardised and drawn towards all "
    "sites as above.",
    "outcome.lost.target": "Dashed: the target. The probability is that of the site’s true share reaching the target "
    "of {target}. It rests on those who were seen.",
    # ---- staggered starts
    "event.question": "Did weight change more where the programme had begun?",
    "event.read": "Sites that had started against sites that had not yet, over the same time. Bead and bar: the "
    "difference of the mean changes of weight, in percent, and its 95 % interval; left of ‘start’ is before it, "
    "where the difference should be about none if the sites are alike.",
    "event.note": "The difference is the programme’s only if people at the later sites would have gone alike. Those "
    "seen in two periods are compared; who did not come again is not in it.",
    "event.time": "{n} after",
    "event.time.0": "start",
    "event.time.before": "{n} before",
    "event.none": "no comparison",
    # ---- error
    "error.question": "How exact are the readings?",
    "error.read": "From the programme’s own readings where there are enough, else a published figure. Readings of one "
    "visit leave out what differs from day to day. A change of one person smaller than the smallest detectable one "
    "can be error alone.",
    "source.same_visit": "{measure}, repeated in one visit",
    "source.between_visits": "{measure}, between visits",
    "source.published": "{measure}, published figure",
    "measure.weight": "Weight",
    "measure.body_fat_percent": "Body fat",
    "measure.fat_mass": "Fat mass",
    "measure.fat_free_mass": "Fat-free mass",
    # ---- headlines
    "o.higher": "{value} higher",
    "o.lower": "{value} lower",
    "o.same": "the same",
    "o.answer": "At {months}, the weight of {seen} was on average {value} than at entry (95 % interval {low} to "
    "{high}).",
    "o.answer.none": "At {months}, the change for {who} is withheld or rests on too few people.",
    "o.range": "However those not seen are taken, the mean change lies between {least} and {most}",
    "o.range.same": "However those not seen are taken, the mean change is {value}",
    "o.range.clear": ", and each of the {n} intervals leaves out no change.",
    "o.range.open": ", and {n} of the {of} intervals include no change.",
    "o.range.mixed": ", and the {of} intervals do not agree on its direction.",
    "o.range.alone": "Only one way of taking those not seen can be shown: how much hangs on drop-out is not known.",
    "o.seen": "About {seen} of {due} who were due were seen.",
    "o.regression": "Regression to the mean would by itself make about {value}.",
    "o.alone": "There is no comparison with sites that had not started: the change is not attributed to the programme.",
    "o.few": "Sites started at different times, but too few can be compared ({sites} and {comparison}) to lean on it: "
    "the change is not attributed to the programme.",
    "o.differed": "Sites that started later were already going differently before the start (by {before} %): the "
    "change is not attributed to the programme.",
    "o.unclear": "Against sites that had not started yet there is no clear difference ({value} %, 95 % interval {low} "
    "to {high}): the change is not attributed to the programme.",
    "o.effect": "Against sites that had not started yet, weight changed by {value} % (95 % interval {low} to {high}), "
    "and before the start no clear difference is seen. If those sites would have gone alike, this part is the "
    "programme’s.",
    "o.effect.unchecked": "Against sites that had not started yet, weight changed by {value} % (95 % interval {low} "
    "to {high}), but no time before the start can be checked: the change is not attributed to the programme.",
    "o.reliable": "Of {seen} at {months}, {better} had improved by more than error, {unchanged} were unchanged and "
    "{worse} had worsened.",
    "o.reliable.none": "At {months}, the shares of {who} are withheld to protect people in small groups, or rest on "
    "too few.",
    "o.lost": "{share} weighed 5 % less or lower still (95 % interval {low} to {high}); of all who were due, with "
    "those not seen taken as unchanged, {carried}.",
    "o.lost.target": "The target is {target}: the share of those seen is {seen}, that of all who were due {due}.",
    "o.target.above": "clearly above it",
    "o.target.below": "clearly below it",
    "o.target.near": "not clearly apart from it",
    "o.fat": "Of the weight that {who} had lost by {months}, about {share} was fat (95 % interval {low} to {high}).",
    "o.fat.none": "At {months}, how much of a change of weight was fat cannot be told for {who}: the weight did not "
    "clearly fall, or the figures are withheld.",
    "o.retention": "At {months}, {share} of adults who were due were seen (95 % interval {low} to {high}).",
    "o.retention.none": "How many were seen at {months} is withheld.",
    "o.balance": "At {months}, the largest difference between those seen and all who were due is {before}, and "
    "{after} after weighting; the weighted figures tell as much as about {effective} people.",
    "o.balance.short": "At {months}, the largest difference between those seen and all who were due is {before}, and "
    "{after} after weighting.",
    "o.balance.none": "At {months}, whether those seen are like all who were due cannot be shown.",
    "o.transition": "Of adults who entered in ‘{band}’ and were seen at {months}, {stay} were in the same band.",
    "o.transition.none": "At {months}, movement between bands is withheld.",
    "o.children.same": "At {months}, no clear change of BMI for age in {group} ({value}, 95 % interval {low} to "
    "{high}).",
    "o.children.change": "At {months}, BMI for age of {group} was {value} standard deviations from entry (95 % "
    "interval {low} to {high}).",
    "o.children.none": "At {months}, the change in {group} is withheld or rests on too few.",
    "o.sites": "At {months}, the best guesses for sites run from {low} to {high}; for {apart} of {shown} sites the "
    "interval leaves out the mean over all sites, {reference}.",
    "o.sites.none": "At {months}, no site has a figure that can be shown.",
    "o.target": "For {likely} of {shown} sites it is more likely than not that the true share reaches the target of "
    "{target}.",
    "o.target.all": "Over all sites the probability of reaching it is {low} to {high}, by how those not seen are "
    "taken.",
    "o.target.all.alike": "Over all sites the probability of reaching it is {low}, however those not seen are taken.",
    "o.error": "One person’s weight must change by more than {weight} kg to be beyond error.",
    "o.error.none": "The error of weight is withheld.",
}
