"""Outcomes: bias and coverage of every estimate on cohorts of which the truth is known.

    python tests/benchmarks/outcome_recovery.py [--replicates 1000] [--seed 47] [--demo FOLDER]

draws cohorts without effect, with one, with drop-out that depends on how people went, and of people chosen for a high
first reading; programmes whose sites start at different times; and sites with a target. Every replicate goes through
the functions that the pipeline uses. With --demo it also compares the outcomes in the store of a demo programme that
was generated and run there with the truth beside it. Prints a page and writes it to
tests/benchmarks/results/outcome_recovery.md.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.statistics.drop_out import ESTIMATORS, SUMS, estimate
from pipeline.statistics.group_time_effect import group_time_effects
from pipeline.statistics.regression_to_mean import expected_fall
from pipeline.statistics.retention_weights import return_chance
from pipeline.statistics.site_comparison import compare_proportions
from pipeline.statistics.target import probability_of_target

RESULTS = Path(__file__).parent / "results" / "outcome_recovery.md"
SITES, PEOPLE = 12, 80
VISITS = 7  # at 0, 2, … 12 months
HEIGHT_SQUARED = 2.9  # m², of everybody: BMI and weight then differ by a factor alone


@dataclass(frozen=True)
class Scenario:
    """effect: mean relative change after 12 months; per_percent: added to the log odds of coming again for each percent
    lost; error_kg: within-person standard deviation of one reading; cut: of BMI at entry, 0 for everybody."""

    title: str
    effect: float = 0.0
    per_percent: float = 0.0
    error_kg: float = 0.6
    cut: float = 0.0


SCENARIOS = (
    Scenario("no effect, drop-out by chance"),
    Scenario("effect −3 %, drop-out by chance", effect=-0.03),
    Scenario("no effect, those who lose weight stay", per_percent=0.12),
    Scenario("effect −3 %, those who lose weight stay", effect=-0.03, per_percent=0.12),
    Scenario(
        "effect −3 %, those who lose weight stay, exact readings",
        effect=-0.03,
        per_percent=0.12,
        error_kg=0.05,
    ),
    Scenario("no effect, chosen for a BMI of 30 or over, steady readings", cut=30.0),
    Scenario("no effect, chosen for a BMI of 30 or over, unsteady readings", cut=30.0, error_kg=4.0),
)


@dataclass
class Cohort:
    """Shapes: (people,) or (people, visits)."""

    site: np.ndarray
    sex: np.ndarray
    age_from: np.ndarray
    true_kg: np.ndarray
    read_kg: np.ndarray
    came: np.ndarray  # of each visit, whether it was made


def draw(scenario: Scenario, rng: np.random.Generator) -> Cohort:
    n = SITES * PEOPLE
    site = np.repeat(np.arange(SITES), PEOPLE)
    bmi = rng.normal(27, 4.5, n).clip(17, 45)
    of_site = rng.normal(scenario.effect, 0.008, SITES)
    response = rng.normal(of_site[site], 0.04)
    reached = 1 - np.exp(-np.arange(VISITS) / 3)
    true = (bmi * HEIGHT_SQUARED)[:, None] * (1 + response[:, None] * reached / reached[-1])
    read = true + rng.normal(0, scenario.error_kg, true.shape)
    change = 100 * (true / true[:, :1] - 1)
    stay = rng.normal(1.3, 0.25, SITES)[site]
    chance = 1 / (1 + np.exp(-(stay[:, None] - scenario.per_percent * change)))
    goes_on = rng.random(chance.shape) < chance
    came = np.ones(true.shape, dtype=bool)
    came[:, 1:] = np.logical_and.accumulate(goes_on[:, :-1], axis=1)
    return Cohort(site, rng.random(n) < 0.5, rng.choice([20, 40, 60], n), true, read, came)


def weights(cohort: Cohort) -> np.ndarray:
    """As sql/57_outcome_weight.sql: products of chances, drawn in, scaled to each site's people."""
    person, visit = np.nonzero(cohort.came[:, :-1])
    change = 100 * (cohort.read_kg[person, visit] / cohort.read_kg[person, 0] - 1)
    bmi = cohort.read_kg[:, 0] / HEIGHT_SQUARED
    rows = pl.DataFrame(
        {
            "site": cohort.site[person],
            "sex": cohort.sex[person],
            "age_from": cohort.age_from[person],
            "bmi_class": np.digitize(bmi, [25, 30])[person],
            "visits": np.minimum(visit + 1, 4),
            "change": np.clip(np.round(change), -12, 8).astype(int),
            "came_again": cohort.came[person, visit + 1],
        }
    )
    key = [name for name in rows.columns if name != "came_again"]
    strata = rows.group_by(key).agg(n=pl.len(), came_again=pl.col("came_again").sum()).sort(key)
    chance = rows.join(return_chance(strata), on=key, how="left", maintain_order="left")["chance"].to_numpy()
    minus_log = np.bincount(person, -np.log(chance), cohort.site.size)
    seen = cohort.came[:, -1]
    found = np.where(seen, np.exp(minus_log), 0.0)
    low, high = np.quantile(found[seen], [0.005, 0.995], method="inverted_cdf")
    found[seen] = found[seen].clip(low, high)
    held = np.bincount(cohort.site, found, SITES)
    scale = np.divide(PEOPLE, held, out=np.zeros(SITES), where=held > 0)
    return found * scale[cohort.site]


def sums_of(cohort: Cohort, chosen: np.ndarray, weight: np.ndarray) -> dict[str, np.ndarray]:
    seen = chosen & cohort.came[:, -1]
    y = np.where(seen, cohort.read_kg[:, -1] - cohort.read_kg[:, 0], 0.0)
    w = np.where(seen, weight, 0.0)
    parts = (chosen, seen, y, y**2, w, w**2, w * y, w * y**2, w**2 * y, w**2 * y**2)
    return {
        name: np.bincount(cohort.site, part.astype(float), SITES)
        for name, part in zip(SUMS, parts, strict=True)
    }


# ---- change, drop-out and regression to the mean ----------------------------------------------------------


def recovered(scenario: Scenario, replicates: int, seed: int) -> list[tuple[str, float, float, float]]:
    """(estimator, bias, standard deviation, coverage), in kg, of the mean change after 12 months."""
    rng = np.random.default_rng(seed)
    names = ["completers", "less_regression_to_mean"] if scenario.cut else list(ESTIMATORS)
    found = {name: [] for name in names}
    covered = dict.fromkeys(names, 0)
    # of everybody whose own true change the programme would make, had nobody left and no site its own luck
    truth = scenario.effect * 27 * HEIGHT_SQUARED if not scenario.cut else 0.0
    for _ in range(replicates):
        cohort = draw(scenario, rng)
        bmi = cohort.read_kg[:, 0] / HEIGHT_SQUARED
        chosen = bmi >= scenario.cut
        sums = sums_of(cohort, chosen, np.ones(bmi.size) if scenario.cut else weights(cohort))
        for name in names:
            made = estimate(sums, "completers" if name not in ESTIMATORS else name, is_share=False)
            fall = 0.0
            if name == "less_regression_to_mean":
                within = (scenario.error_kg / HEIGHT_SQUARED) ** 2
                between = float(np.var(bmi, ddof=1)) - within
                fall = expected_fall(float(bmi.mean()), between, within, scenario.cut) * HEIGHT_SQUARED
            found[name].append(made.value + fall)
            covered[name] += made.low + fall <= truth <= made.high + fall
    return [
        (name, float(np.mean(found[name]) - truth), float(np.std(found[name])), covered[name] / replicates)
        for name in names
    ]


# ---- sites that start at different times ------------------------------------------------------------------

STARTS = np.repeat([2, 3, 4, 6], 4)
PERIODS = 6


def staggered(effect: float, diverging: float, replicates: int, seed: int) -> dict[str, tuple[float, float]]:
    """Estimate → (bias in points, coverage): before and after alone, and the group-time effects.

    People gain 0.4 % a period everywhere; a site's own course wanders; after the start they change by `effect` %. With
    `diverging`, sites that start early gain so much less a period, programme or not.
    """
    rng = np.random.default_rng(seed)
    found: dict[str, list[float]] = {"before and after": [], "overall": [], "overall_before": []}
    covered = dict.fromkeys(found, 0)
    for _ in range(replicates):
        sites, people = STARTS.size, 50
        own = rng.normal(0, 0.25, (sites, PERIODS)).cumsum(axis=1)
        when = np.arange(PERIODS)
        after = np.where(when >= STARTS[:, None], effect, 0.0)
        early = diverging * (6 - STARTS[:, None]) / 4 * when
        course = 0.4 * when + own + after + early
        y = course[:, None, :] + rng.normal(0, 1.5, (sites, people, PERIODS))
        seen = rng.random((sites, people, PERIODS)) < 0.7
        n, total, squares = (np.zeros((sites, PERIODS, PERIODS)) for _ in range(3))
        for base in range(PERIODS):
            for later in range(base + 1, PERIODS):
                both = seen[:, :, base] & seen[:, :, later]
                change = np.where(both, y[:, :, later] - y[:, :, base], 0.0)
                n[:, base, later] = both.sum(axis=1)
                total[:, base, later] = change.sum(axis=1)
                squares[:, base, later] = (change**2).sum(axis=1)
        effects = {e.kind: e for e in group_time_effects(STARTS, n, total, squares) if e.kind in found}
        naive = _before_and_after(n, total)
        found["before and after"].append(naive[0])
        covered["before and after"] += abs(naive[0] - effect) <= 1.96 * naive[1]
        for kind, truth in (("overall", effect), ("overall_before", 0.0)):
            made = effects[kind]
            found[kind].append(made.value)
            covered[kind] += made.low <= truth <= made.high
    truths = {"before and after": effect, "overall": effect, "overall_before": 0.0}
    return {name: (float(np.mean(found[name]) - truths[name]), covered[name] / replicates) for name in found}


def _before_and_after(n: np.ndarray, total: np.ndarray) -> tuple[float, float]:
    """Mean change from the period before a start to one after it, over the sites that start; error over sites."""
    cells = [
        (site, start - 1, later)
        for site, start in enumerate(STARTS)
        for later in range(start, PERIODS)
        if start < PERIODS
    ]
    by_site = {
        site: np.mean([total[c] / n[c] for c in cells if c[0] == site]) for site in {c[0] for c in cells}
    }
    means = np.array(list(by_site.values()))
    return float(means.mean()), float(means.std(ddof=1) / np.sqrt(means.size))


# ---- the target -------------------------------------------------------------------------------------------


def calibration(replicates: int, seed: int) -> list[tuple[str, int, float, float]]:
    """(probability given, sites, mean probability, share that truly reached the target)."""
    rng = np.random.default_rng(seed)
    given, reached = [], []
    for _ in range(replicates):
        true = rng.normal(0.25, 0.06, 24).clip(0.02, 0.9)
        people = rng.integers(30, 160, 24)
        count = rng.binomial(people, true)
        made = compare_proportions(count[:, None], people[:, None])
        given.append(probability_of_target(made.shrunken, made.shrunken_low, made.shrunken_high, 0.25))
        reached.append(true >= 0.25)
    p, hit = np.concatenate(given), np.concatenate(reached)
    rows = []
    for low, high in ((0, 0.1), (0.1, 0.3), (0.3, 0.7), (0.7, 0.9), (0.9, 1.01)):
        here = (p >= low) & (p < high)
        rows.append((f"{low:.1f} to {min(high, 1):.1f}", int(here.sum()), p[here].mean(), hit[here].mean()))
    return rows


# ---- the demo programme -----------------------------------------------------------------------------------


def planted_and_found(folder: Path) -> Iterator[str]:
    """True mean change of all adults who were due, beside the estimates in the store of that demo."""
    from pipeline.programme import Programme
    from pipeline.store import Store
    from synthetic_cohort.truth_of_change import true_changes

    programme = Programme.read(folder)
    with Store.open(programme.store / "evenbeam.duckdb", read_only=True) as store:
        last = store.value("select max(measured_on) from reading.accepted")
        rows = store.frame(
            "select months, estimator, start, value, low, high from result.outcome where measure = 'weight' and "
            "unit = 'kg' and statistic = 'mean_change' and sex = 'all' and age_from = 20 and start = 'all' "
            "and estimator in ('completers', 'carried_forward', 'retention_weighted') order by all"
        )
    windows = {window.months: window for window in programme.settings.outcomes.follow_up}
    for (months,), part in rows.group_by("months", maintain_order=True):
        window = windows[months]
        truth = true_changes(folder, window.day, window.tolerance_days, last)
        estimates = {row["estimator"]: row for row in part.iter_rows(named=True)}
        words = " | ".join(
            f"{row['value']:.2f} ({row['low']:.2f} to {row['high']:.2f})"
            for row in (estimates[name] for name in ESTIMATORS)
        )
        yield f"| {months} | {truth.people} | {truth.change_kg:.2f} | {truth.programme_kg:.2f} | {words} |"


# ---- the page ---------------------------------------------------------------------------------------------


def page(replicates: int, seed: int, demo: Path | None) -> Iterator[str]:
    yield "# Outcomes: what is recovered"
    yield (
        f"{replicates} replicates a row, seed {seed}. Cohorts of {SITES} sites with {PEOPLE} people each, "
        "visits every two "
        "months for a year; mean change of weight after 12 months, in kg. Coverage is of the 95 % interval. The naive "
        "estimate is that of those seen."
    )
    yield "| cohort | estimate | bias | SD over replicates | coverage |\n|---|---|---|---|---|"
    for scenario in SCENARIOS:
        for name, bias, spread, coverage in recovered(scenario, replicates, seed):
            yield f"| {scenario.title} | {name} | {bias:+.3f} | {spread:.3f} | {100 * coverage:.1f} % |"
    yield "\n## Sites that start at different times"
    yield (
        f"{STARTS.size} sites that start one by one, everybody gaining 0.4 % a period, sites wandering on their "
        "own; bias "
        "in points of percent. overall_before is the check before the start. The last two break the assumption "
        "of equal "
        "courses: the effect is then wrong, and what its check does not cover is how often it says so."
    )
    yield "| programme | estimate | bias | coverage |\n|---|---|---|---|"
    for title, effect, diverging in (
        ("no effect", 0.0, 0.0),
        ("effect −2 %", -2.0, 0.0),
        ("no effect, early sites on another course", 0.0, -0.8),
        ("no effect, early sites on quite another course", 0.0, -2.0),
    ):
        for name, (bias, coverage) in staggered(effect, diverging, replicates, seed).items():
            yield f"| {title} | {name} | {bias:+.3f} | {100 * coverage:.1f} % |"
    yield "\n## The probability of the target"
    yield "24 sites of 30 to 160 people, shares about 25 % with a spread of 6 points, target 25 %."
    yield "| probability given | sites | mean of it | reached the target |\n|---|---|---|---|"
    for bounds, n, mean, share in calibration(replicates, seed):
        yield f"| {bounds} | {n} | {mean:.2f} | {share:.2f} |"
    if demo:
        yield "\n## The demo programme"
        yield (
            "Adults whose follow-up was due: their true mean change in kg had nobody left, how much of it is the "
            "programme's, and the estimates with their intervals (those seen; no change for those not seen; weighted)."
        )
        yield (
            "| months | people | true change | programme | completers | carried_forward | retention_weighted |\n"
            "|---|---|---|---|---|---|---|"
        )
        yield from planted_and_found(demo)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--replicates", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=47)
    parser.add_argument("--demo", type=Path, help="a demo programme that was generated and run")
    options = parser.parse_args()
    lines = []
    for line in page(options.replicates, options.seed, options.demo):
        print(line, flush=True)
        lines.append(line if line.startswith("|") else line + "\n")
    RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
