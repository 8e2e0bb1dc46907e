"""How soon a wrong analyser is found, and how often a right one is accused.

    python tests/benchmarks/device_operating_curve.py [--cohorts 28] [--runs 40] [--readings 60000 …] [--folder FOLDER]

makes demo programmes (24 sites, 8 quarters, 60,000 readings each, other seeds than the demo's), takes the true bodies
beside them, weighs them on analysers with the demo's own biases and noise, with or without a planted fault, runs the
project's SQL and statistics over the readings, and counts. Prints a page and writes it to
tests/benchmarks/results/device_operating_curve.md. About eight minutes on one core.

The people and their programme are invented by this project; the page says what its limits were chosen on. What real
sites do that the cohort does not (operators who change with the season, analysers moved between sites) is not in it.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
from scipy.stats import chi2

from pipeline.programme import Programme
from pipeline.results.device import CHART, charted
from pipeline.results.person_change import person_changes
from pipeline.statistics.analyser_fault import PACE, SiteModel
from pipeline.statistics.change_contrast import ELSEWHERE, Contrasts
from pipeline.statistics.device_drift import USUAL, SiteChart
from pipeline.statistics.fault_verdict import UNDETERMINED
from pipeline.statistics.proportion_interval import wilson_interval
from pipeline.store import Store
from synthetic_cohort.generate import generate

RESULTS = Path(__file__).parent / "results" / "device_operating_curve.md"
FIRST_SEED = 17_000
FIRST_DAY, ANY_DAY = "from a quarter's first day", "from any day"
FAULTS = [
    ("shift", 0.5, FIRST_DAY), ("shift", 0.75, FIRST_DAY), ("shift", 1.0, FIRST_DAY), ("shift", 1.0, ANY_DAY),
    ("drift", 0.25, FIRST_DAY), ("drift", 0.5, FIRST_DAY), ("drift", 0.5, ANY_DAY), ("drift", 1.0, FIRST_DAY),
]  # fmt: skip
NAMED, LONE, MIXED = "two, named", "one", "two, not named"


@dataclass(frozen=True)
class Cohort:
    """True readings and analysers of one programme; which sites name theirs in their files."""

    readings: pl.DataFrame
    analysers: pl.DataFrame
    sites: pl.DataFrame
    names_analysers: frozenset[str]

    def kind(self, site: str) -> str:
        """NAMED, LONE or MIXED."""
        if self.analysers.filter(pl.col("site") == site).height == 1:
            return LONE
        return NAMED if site in self.names_analysers else MIXED

    def has_start(self, site: str) -> bool:
        """Whether the programme begins there after the readings do."""
        row = self.sites.row(by_predicate=pl.col("site") == site, named=True)
        return row["programme_quarter"] > row["first_quarter"]


@dataclass(frozen=True)
class Fault:
    """A shift in kg, or a drift in kg a quarter, of one analyser from a moment on."""

    kind: str
    size: float
    site: str
    analyser: int
    begins: datetime

    def error_kg(self, rows: pl.DataFrame) -> np.ndarray:
        quarters = rows.select((pl.col("measured_at") - self.begins).dt.total_minutes() / (1440 * 365.25 / 4))
        since = quarters.to_series().to_numpy()
        at = ((rows["site"] == self.site) & (rows["analyser"] == self.analyser)).to_numpy()
        return at * self.size * ((since >= 0) if self.kind == "shift" else np.maximum(since, 0))


def cohort_in(folder: Path, seed: int, readings: int) -> Cohort:
    """The cohort of a seed; made when it is not there yet."""
    if not (folder / "truth").exists():
        generate(folder, readings=readings, seed=seed, faults=False)
    programme = Programme.read(folder)
    names = frozenset(site for site, profile in programme.profiles.items() if "device" in profile.columns)
    truth = folder / "truth"
    rows = pl.read_parquet(truth / "readings" / "*.parquet").rename({"quarter": "period"})
    analysers, sites = (pl.read_parquet(truth / f"{name}.parquet") for name in ("analysers", "sites"))
    return Cohort(rows, analysers, sites, names)


def weighed(cohort: Cohort, random: np.random.Generator, faults: Sequence[Fault] = (), fat=False) -> pl.DataFrame:
    """Accepted readings: the true weight, the analyser's bias and noise, and the faults, to 0.1 kg.

    fat    whether body fat percent stands beside it, with the analysers' own bias and noise; otherwise null.
    """
    analysers = cohort.analysers.select(
        "site", "analyser", "name", "weight_noise_kg", "fat_bias_percent", "fat_noise_percent"
    ).with_columns(bias=pl.Series(random.normal(0, 0.08, cohort.analysers.height)))
    rows = cohort.readings.join(analysers, on=["site", "analyser"], how="left", maintain_order="left")
    error = rows["bias"].to_numpy() + random.normal(0, 1, rows.height) * rows["weight_noise_kg"].to_numpy()
    error += sum((fault.error_kg(rows) for fault in faults), np.zeros(rows.height))
    noise = pl.Series(random.normal(0, 1, rows.height))
    percent = 100 * pl.col("fat_mass_kg") / pl.col("weight_kg") + pl.col("fat_bias_percent")
    return rows.select(
        reading_id=pl.int_range(rows.height),
        participant=pl.col("person").cast(pl.String),
        site="site",
        measured_at="measured_at",
        period="period",
        sex="sex",
        age="age",
        device=pl.when(pl.col("site").is_in(sorted(cohort.names_analysers))).then(pl.col("name")),
        weight_kg=(pl.col("weight_kg") + pl.Series(error)).round(1),
        body_fat_percent=(percent + noise * pl.col("fat_noise_percent")).round(1) if fat else pl.lit(None, pl.Float64),
    )


@contextmanager
def store_of(readings: pl.DataFrame) -> Iterator[Store]:
    """A store that holds these accepted readings."""
    with Store.open(None) as store:
        with store.lent("given", readings):
            store.execute(
                """insert into reading.accepted by name
                select reading_id, 1 as file_id, reading_id as line, site, participant,
                    measured_at::date as measured_on, measured_at, period, sex, age, 170 as height_cm, weight_kg,
                    body_fat_percent, device, [] as flags
                from given"""
            )
        yield store


def charts(readings: pl.DataFrame) -> pl.DataFrame:
    """Charts of weight, and of body fat where it is there, as the project makes them."""
    with store_of(readings) as store:
        return pl.concat([found.with_columns(measure=pl.lit(measure)) for measure, found in charted(store)])


@dataclass
class Tally:
    """Sites with a planted fault: found is a signal there; named is one of the analyser at fault."""

    sites: int = 0
    in_first: int = 0
    within_two: int = 0
    ever: int = 0
    named: int = 0
    wrong: int = 0
    undetermined: int = 0
    as_pace: int = 0
    named_at_all: int = 0

    def add(self, signals: pl.DataFrame, site: str, device: str, periods: list[str]) -> None:
        """`periods`: from the first with the fault on. named … as_pace: by the last signal within two periods."""
        own = signals.filter((pl.col("site") == site) & pl.col("period").is_in(periods))
        found = sorted(set(own["period"]))
        self.sites += 1
        self.in_first += periods[0] in found
        self.ever += bool(found)

        def says(period: str) -> str:
            at = own.filter(pl.col("period") == period)
            unsure = set(at["signal"]) & {UNDETERMINED, PACE}
            return unsure.pop() if unsure else "named" if set(at["device"]) == {device} else "wrong"

        early = [says(period) for period in found if period in periods[:2]]
        self.named_at_all += "named" in map(says, found)
        if early:
            self.within_two += 1
            self.undetermined += early[-1] == UNDETERMINED
            self.as_pace += early[-1] == PACE
            self.named += early[-1] == "named"
            self.wrong += early[-1] == "wrong"


@dataclass
class Quiet:
    """Sites in order: years, signals of a fault and signals of a change of pace, weight and body fat together."""

    years: float = 0.0
    faults: int = 0
    paces: int = 0


def in_order(cohorts: Sequence[Cohort]) -> dict[tuple[str, bool], Quiet]:
    """(kind of site, whether the programme begins there) → signals where nothing was planted; each cohort once."""
    found: dict[tuple[str, bool], Quiet] = {}
    for number, cohort in enumerate(cohorts):
        random = np.random.default_rng([FIRST_SEED, number])
        signals = charts(weighed(cohort, random, fat=True)).filter(pl.col("signal") != "")
        for site in cohort.sites["site"]:
            part = found.setdefault((cohort.kind(site), cohort.has_start(site)), Quiet())
            part.years += cohort.readings.filter(pl.col("site") == site)["period"].n_unique() / 4
            own = signals.filter(pl.col("site") == site).unique(["measure", "period"])
            part.faults += own.filter(pl.col("signal") != PACE).height
            part.paces += own.filter(pl.col("signal") == PACE).height
    return found


def in_control(cohorts: Sequence[Cohort], repeats: int) -> dict[str, tuple[float, int, int]]:
    """Look taken every quarter, or every month → (site-years, signals of a fault, of a change of pace).

    The cohorts' own contrasts of weight with their changes drawn anew from the model of a site in order: what the chart
    does when everything that it supposes is true.
    """
    found = {"quarter": (0.0, 0, 0), "month": (0.0, 0, 0)}
    for number, cohort in enumerate(cohorts):
        random = np.random.default_rng([FIRST_SEED + 2, number])
        of_site: dict[str, list[Contrasts]] = {}
        with store_of(weighed(cohort, random)) as store, person_changes(store, None) as changes:
            weight = changes.of("weight")
            for period in weight.periods:
                for site, of in weight.next(period).items():
                    of_site.setdefault(site, []).append(of)
        for parts in of_site.values():
            every = parts[0]
            for part in parts[1:]:
                every = every.followed_by(part)
            for _ in range(repeats):
                drawn = _drawn(every, random)
                for look, months in (("quarter", 3), ("month", 1)):
                    signals = _signals(drawn, months)
                    years, faults, paces = found[look]
                    pace = sum(signal == PACE for signal in signals)
                    found[look] = (years + len(parts) / 4, faults + len(signals) - pace, paces + pace)
    return found


def _drawn(of: Contrasts, random: np.random.Generator) -> Contrasts:
    devices = [int(device) for device in np.unique([of.device, of.earlier_device]) if device != ELSEWHERE]
    model = SiteModel(of, devices, [], USUAL["weight"])
    states = model.design @ (model.prior * random.normal(size=len(model.prior)))
    return replace(of, change=states + random.normal(size=len(states)) / np.sqrt(model.weight))


def _signals(of: Contrasts, months: int) -> list[str]:
    """The signals of a site, one a look."""
    site = SiteChart(USUAL["weight"], CHART)
    signals = []
    for look in np.unique(of.month // months):
        site.take(of.at(np.flatnonzero(of.month // months == look)))
        signals += list({row[-1] for row in site.judge(1.0)} - {""})[:1]
    return signals


def detections(cohorts: Sequence[Cohort], runs: int) -> dict[tuple[str, float, str, str], Tally]:
    """(kind, size, begin, kind of site) → what was found; site, analyser, direction and period are drawn by lot.

    Each run plants the fault at one site of each kind, far apart in size and place: what is expected of the others is
    then a little off, which makes it harder and not easier.
    """
    found: dict[tuple[str, float, str, str], Tally] = {}
    for number, (kind, size, begin) in enumerate(FAULTS):
        print(f"{kind} of {size:g}, {begin}: {runs} runs", file=sys.stderr)
        for run in range(runs):
            random = np.random.default_rng([FIRST_SEED + 1, number, run])
            cohort = cohorts[run % len(cohorts)]
            planted = [_planted(cohort, of, kind, size, begin, random) for of in (NAMED, LONE, MIXED)]
            signals = charts(weighed(cohort, random, [fault for fault, _ in planted])).filter(pl.col("signal") != "")
            for of, (fault, periods) in zip((NAMED, LONE, MIXED), planted, strict=True):
                name = cohort.analysers.row(
                    by_predicate=(pl.col("site") == fault.site) & (pl.col("analyser") == fault.analyser), named=True
                )["name"]
                device = name if fault.site in cohort.names_analysers else ""
                found.setdefault((kind, size, begin, of), Tally()).add(signals, fault.site, device, periods)
    return found


def _planted(cohort: Cohort, of: str, kind: str, size: float, begin: str, random) -> tuple[Fault, list[str]]:
    """A fault at a site of this kind, and the periods from its first on: one period before, two from then on."""
    choices = [row for row in cohort.analysers.iter_rows(named=True) if cohort.kind(row["site"]) == of]
    row = choices[random.integers(len(choices))]
    there = cohort.readings.filter(pl.col("site") == row["site"])["period"].unique().sort().to_list()
    first = int(random.integers(1, len(there) - 1))
    year, quarter = int(there[first][:4]), int(there[first][5])
    day = int(random.integers(0, 90)) if begin == ANY_DAY else 0
    begins = datetime(year, 3 * quarter - 2, 1) + timedelta(days=day)
    return Fault(kind, size * random.choice([-1, 1]), row["site"], row["analyser"], begins), there[first:]


def page(sizes: list[tuple[int, dict, dict, dict]]) -> str:
    """The page: one part a size of programme."""
    lines = [
        "# Analysers: operating curve",
        "",
        "Made by `python tests/benchmarks/device_operating_curve.py`. Invented people, 24 sites, 8 quarters; the "
        "analysers' own biases (sd 0.08 kg) and noise (0.07 kg) are drawn anew each run.",
        "",
        f"Chart: Shiryaev–Roberts over all faults of a site, limit {CHART.limit}: by the martingale bound at least so "
        "many months of a site in order to a false signal, on average; looked at once a quarter, many more (below). "
        "Shares are in brackets with Wilson's 95 % interval; rates with the exact Poisson limit.",
        "",
    ]
    for readings, quiet, model, found in sizes:
        lines += [f"## {readings:,} readings in the programme", "", *_quiet_table(quiet), ""]
        lines += [*_model_table(model), "", *_found_table(found), ""]
    return "\n".join([*lines, FALLS_SHORT])


def _quiet_table(quiet: dict[tuple[str, bool], Quiet]) -> list[str]:
    lines = [
        "### Analysers in order",
        "",
        "Every cohort is another one: the site-years are independent. Weight and body fat together.",
        "",
        "| analysers of the site | the programme | site-years | signals of a fault | per 100 site-years | "
        "upper 95 % limit | signals of a change of pace |",
        "| --- | --- | ---: | ---: | ---: | ---: | ---: |",
    ]
    every = [*sorted(quiet.items()), (("all", None), Quiet(*map(sum, zip(*((q.years, q.faults, q.paces)
             for q in quiet.values()), strict=True))))]  # fmt: skip
    for (kind, has_start), of in every:
        words = {True: "begins there meanwhile", False: "runs all the time", None: ""}[has_start]
        limit = chi2.ppf(0.975, 2 * (of.faults + 1)) / 2
        lines.append(
            f"| {kind} | {words} | {of.years:.0f} | {of.faults} | {100 * of.faults / of.years:.2f} | "
            f"{100 * limit / of.years:.2f} | {of.paces} |"
        )
    return lines


def _model_table(model: dict[str, tuple[float, int, int]]) -> list[str]:
    lines = [
        "### The model alone",
        "",
        "The same sites with changes drawn from the model of a site in order, weight only: the in-control run length.",
        "",
        "| looked at every | site-years | signals of a fault | per 100 site-years | upper 95 % limit | signals of a "
        "change of pace |",
        "| --- | ---: | ---: | ---: | ---: | ---: |",
    ]
    for look, (years, faults, paces) in model.items():
        limit = chi2.ppf(0.975, 2 * (faults + 1)) / 2
        lines.append(
            f"| {look} | {years:.0f} | {faults} | {100 * faults / years:.2f} | {100 * limit / years:.2f} | {paces} |"
        )
    return lines


def _found_table(found: dict[tuple[str, float, str, str], Tally]) -> list[str]:
    lines = [
        "### One fault",
        "",
        "| analysers | fault | begins | sites | signal in the first quarter | within two | at all | of those within "
        "two: right analyser | another | not determined | as a change of pace | right analyser named at all |",
        "| --- | --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for of in (NAMED, LONE, MIXED):
        for kind, size, begin in FAULTS:
            tally = found[kind, size, begin, of]
            unit = "kg" if kind == "shift" else "kg a quarter"
            shares = [_share(count, tally.sites) for count in (tally.in_first, tally.within_two, tally.ever)]
            shares += [_share(count, tally.within_two) for count in (tally.named, tally.wrong, tally.undetermined,
                       tally.as_pace)]  # fmt: skip
            shares.append(_share(tally.named_at_all, tally.sites))
            lines.append(f"| {of} | {kind} of {size:g} {unit} | {begin} | {tally.sites} | {' | '.join(shares)} |")
    return lines


def _share(count: int, of: int) -> str:
    if not of:
        return "–"
    low, high = np.ravel(wilson_interval([count], [of]))
    return f"{100 * count / of:.0f} % ({100 * low:.0f}–{100 * high:.0f})"


FALLS_SHORT = """## How to read it

- A signal is one published at the site: any of shift, drift, not determined and pace. "Of those within two" is what
  the last of the first two periods said.
- "As a change of pace" is what the table calls `pace`: a lone analyser drifts, or people there began to gain or
  lose otherwise. It asks for a check weight and accuses nobody. Where a programme begins while readings go on it is
  true, and counted apart from signals of a fault.
- Each run plants the fault at one site of each kind at once, so that what is expected of the others is a little
  off. Nearly one planted fault in six begins in a site's second quarter, when little is known of it.

## What falls short, and why

- **A lone analyser's drift** adds to people's changes in proportion to time, and so does a change of pace: the same
  column of the design, so that no statistic of changes tells them apart. What remains is how unusual so large a
  change of pace would be. Half a kilogram a quarter is seldom unusual enough; a kilogram is, and is published as
  `pace`. Two other ways were weighed and left. *Body composition*: published impedance equations contain the weight
  itself, with a coefficient of about a quarter (0.231 in Kyle et al., Nutrition 2001;17:248-53; 0.204 in one for
  foot-to-foot analysers, doi:10.1186/s12937-015-0041-0; abstracts), so that a platform that reads a kilogram more
  shows a quarter of it as fat-free and three quarters as fat, which is what people gain too. The synthetic
  analysers print fat as a share of the printed weight and would have given the drift away: an artefact, not used.
  *People who come for the first time*: their weights spread by 14 kg at a given age and sex, so that a hundred of
  them tell the mean to 1.4 kg. A check weight, or a second analyser that is named in the files, is the remedy.
- **Two analysers that the files do not name** are one instrument here, and a kilogram on one of them is half a
  kilogram.
- **A lone analyser's shift** is told from a change of pace because it comes at once. Late in a quarter too few
  people have come back to tell, and the first signal is `pace`; the next quarter nearly always tells.
- **A drift from any day.** Two periods of a drift that begins within a quarter hold on average a quarter and a half
  of it, and half a kilogram a quarter is then 0.75 kg at most.
- **Which of two analysers drifts** is known only through people's pace: those who stay on one analyser. Where it is
  not nine times as likely as the other, neither is named. Later periods often tell.
- **What the model takes as usual** (a site's pace changes by 0.08 kg a quarter within a quarter, a month moves a
  whole site by 0.08 kg) is the project's choice. Where a programme's sites vary more, the scores of all sites
  spread more, and all evidence is scaled down by their robust spread: fewer faults are found then.
- **Months.** A programme with monthly periods looks three times as often; the model alone shows what that costs.
- **What the limits have seen.** They were chosen on cohorts of seeds 9000 to 9005 and 27000 to 27007 and on the
  demo's own; a first pilot had four of the cohorts counted here. The other cohorts were new.
- **What is not in the cohort.** Real sites may give one analyser to some people and the other to others; the cohort
  draws it by lot at every visit.
"""


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--cohorts", type=int, default=28)
    parser.add_argument("--repeats", type=int, default=1, help="of each cohort drawn from the model")
    parser.add_argument("--runs", type=int, default=40, help="for each fault and size of programme")
    parser.add_argument("--readings", type=int, nargs="+", default=[60_000])
    parser.add_argument("--folder", type=Path, help="keeps the cohorts between runs")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        sizes = []
        for readings in given.readings:
            cohorts = [
                cohort_in((given.folder or Path(temporary)) / f"{readings}-{i}", FIRST_SEED + i, readings)
                for i in range(given.cohorts)
            ]
            quiet, model = in_order(cohorts), in_control(cohorts, given.repeats)
            print(f"{readings:,} readings: analysers in order are done", file=sys.stderr)
            sizes.append((readings, quiet, model, detections(cohorts, given.runs)))
    text = page(sizes)
    print(text)
    RESULTS.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
