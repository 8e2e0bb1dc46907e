"""Site flags: how many are false, and whether the intervals cover.

    python tests/benchmarks/site_flag_simulation.py [--replicates 2000] [--seed 31]

draws programmes of 24 sites of unequal size, age and sex from known proportions, runs the site comparison over each,
and counts false discoveries at q ≤ 0.05, sites outside the 99.8 % funnel, the power to find sites that truly differ,
and the coverage of 95 % intervals. Prints a page and writes it to tests/benchmarks/results/site_flag_simulation.md.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from pipeline.statistics.site_comparison import compare_proportions

RESULTS = Path(__file__).parent / "results" / "site_flag_simulation.md"
SITES, STRATA = 24, 16
ODD = 3  # sites that differ, in the scenarios that have such


@dataclass(frozen=True)
class Scenario:
    """Sites' odds are those of all, times exp(Normal(0, between)); ODD sites have `odds_ratio` on top of it."""

    title: str
    prevalence: float
    between: float = 0.0
    odds_ratio: float = 1.0


@dataclass
class Found:
    false_share: list[float] = field(default_factory=list)
    any_false: int = 0
    true_named: int = 0
    true_sites: int = 0
    outside: int = 0
    ordinary: int = 0
    covered: dict[str, int] = field(default_factory=lambda: {"standardised": 0, "shrunken": 0})
    sites: int = 0
    replicates: int = 0


SCENARIOS = (
    Scenario("all sites alike, 25 % in the band", 0.25),
    Scenario("all sites alike, 3 % in the band", 0.03),
    Scenario("3 of 24 sites at twice the odds, 25 %", 0.25, odds_ratio=2.0),
    Scenario("3 of 24 sites at twice the odds, 3 %", 0.03, odds_ratio=2.0),
    Scenario("sites differ (log-odds sd 0.2), 25 %", 0.25, between=0.2),
    Scenario("sites differ (sd 0.2) and 3 at three times the odds, 25 %", 0.25, between=0.2, odds_ratio=3.0),
)


def simulate(scenario: Scenario, replicates: int, seed: int) -> Found:
    """Draw and compare; a site is ordinary when its own odds ratio is 1 but for `between`."""
    random = np.random.default_rng([seed, int(1000 * scenario.prevalence), int(10 * scenario.odds_ratio)])
    found = Found()
    by_stratum = np.log(scenario.prevalence / (1 - scenario.prevalence)) + np.linspace(-0.6, 0.6, STRATA)
    for _ in range(replicates):
        size = np.exp(random.normal(np.log(250), 0.6, SITES)).round().clip(20)
        mix = random.dirichlet(np.full(STRATA, 4.0), SITES)
        people = np.array([random.multinomial(int(n), share) for n, share in zip(size, mix, strict=True)])
        odd = np.zeros(SITES, dtype=bool)
        if scenario.odds_ratio != 1:
            odd[random.choice(SITES, ODD, replace=False)] = True
        own = random.normal(0, scenario.between, SITES) + odd * np.log(scenario.odds_ratio)
        chance = 1 / (1 + np.exp(-(by_stratum[None, :] + own[:, None])))
        count = random.binomial(people, chance)
        _score_one(found, compare_proportions(count, people), people, chance, odd)
    return found


def _score_one(found: Found, compared, people: np.ndarray, chance: np.ndarray, odd: np.ndarray) -> None:
    named = compared.q_value <= 0.05
    found.replicates += 1
    found.false_share.append((named & ~odd).sum() / max(named.sum(), 1))
    found.any_false += bool((named & ~odd).any())
    found.true_named += int((named & odd).sum())
    found.true_sites += int(odd.sum())
    outside = (compared.value < compared.funnel[:, 0]) | (compared.value > compared.funnel[:, 3])
    found.outside += int((outside & ~odd).sum())
    found.ordinary += int((~odd).sum())
    # What a site's value estimates: its true expected people over those expected at the true proportions of all.
    share = (people * chance).sum(axis=0) / people.sum(axis=0)
    of_all = (people * chance).sum() / people.sum()
    truth = (people * chance).sum(axis=1) / (people * share).sum(axis=1) * of_all
    found.covered["standardised"] += int(((compared.low <= truth) & (truth <= compared.high)).sum())
    found.covered["shrunken"] += int(
        ((compared.shrunken_low <= truth) & (truth <= compared.shrunken_high)).sum()
    )
    found.sites += truth.size


def page(results: list[tuple[Scenario, Found]], replicates: int, seed: int) -> str:
    lines = [
        "# Site flags: false discoveries and coverage",
        "",
        f"Made by `python tests/benchmarks/site_flag_simulation.py --replicates {replicates} --seed {seed}`: "
        f"{SITES} sites, median 250 people (log sd 0.6), each with ages and sexes of its own in {STRATA} strata. "
        "± is two simulation standard errors.",
        "",
        "| scenario | false discovery rate at q ≤ 0.05 | replicates with a false name | sites that differ found | "
        "ordinary sites outside 99.8 % | standardised interval covers | shrunken interval covers |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for scenario, found in results:
        rate, error = np.mean(found.false_share), np.std(found.false_share) / np.sqrt(found.replicates)
        power = f"{100 * found.true_named / found.true_sites:.1f} %" if found.true_sites else "–"
        lines.append(
            f"| {scenario.title} | {100 * rate:.1f} % ± {200 * error:.1f} | "
            f"{100 * found.any_false / found.replicates:.1f} % | {power} | "
            f"{100 * found.outside / found.ordinary:.2f} % | "
            + " | ".join(
                f"{100 * found.covered[kind] / found.sites:.1f} %" for kind in ("standardised", "shrunken")
            )
            + " |"
        )
    return "\n".join([*lines, "", READING])


READING = """## How to read it

- Where all sites are alike, every name is false, so the false discovery rate is the share of programmes in which any
  site is named: at most 5 % is promised.
- Where sites differ for reasons of their own, the funnel is widened by the variance between them (Spiegelhalter's
  additive form), and a name says that a site is unlike even that spread, which is harder to earn: fewer of the odd
  sites are found. The scores are winsorised at 15 %, not the paper's 10 %, so that three of 24 sites on one side do
  not set the scale; the variance is corrected for what winsorising takes from a normal distribution; p is Student's,
  because the scale was estimated. With the paper's 10 %, uncorrected and normal, a third of the programmes whose sites
  merely differ had an ordinary site named.
- Three of 24 sites that stand out together still widen the funnel by themselves, which costs two fifths of the power
  that a funnel without widening has (67 % in the third scenario, 300 replicates). The 99.8 %
  limits are drawn without Student's allowance.
- The share winsorised, the p from which the funnel is widened and the degrees of freedom were chosen on these six
  scenarios, with other seeds (20250101, 1 and 2); other scenarios were not tried.
- The standardised value estimates a site's expected people over those expected at all sites' proportions, times the
  proportion of all. Its interval takes the expected number as known.
- Shrunken intervals cover 95 % of sites on average over sites, not each site: one that truly stands far out is drawn
  in, and is covered less often.
"""


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--replicates", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=31)
    given = parser.parse_args()
    results = [(scenario, simulate(scenario, given.replicates, given.seed)) for scenario in SCENARIOS]
    text = page(results, given.replicates, given.seed)
    print(text)
    RESULTS.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
