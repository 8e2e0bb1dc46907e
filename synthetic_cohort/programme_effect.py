"""What the programme does, site by site, and who stays to be measured again.

The effect is on adults' weight only: the programme has no weight target for children, and the young only grow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Mean relative change of weight four quarters after the first visit, by kind of site: project's choice.
_MEAN_EFFECT = {"gym": -0.030, "clinic": -0.045, "school": 0.0, "workplace": -0.012, "community": -0.020}
BETWEEN_SITES_SD = 0.012
BETWEEN_PEOPLE_SD = 0.040
ADULT_AGE = 18


@dataclass(frozen=True)
class SiteEffect:
    """What is true of a site's programme and of its people's returning."""

    mean_change: float  # relative change of an adult's weight after four quarters, had nobody left
    return_log_odds: float  # of coming again, at no change of weight
    return_per_percent: float  # added to the log odds for each percent of weight lost


def draw_effect(rng: np.random.Generator, kind: str) -> SiteEffect:
    """A site's own effect: its kind's mean and a deviation of its own. Project's choice."""
    deviation = rng.normal(0, BETWEEN_SITES_SD)
    stay, per_percent = rng.normal(0.9, 0.25), rng.uniform(0.08, 0.28)
    if kind == "school":
        return SiteEffect(0.0, stay + 1.0, 0.0)  # pupils are measured with their class, whatever the outcome
    return SiteEffect(round(_MEAN_EFFECT[kind] + deviation, 4), round(stay, 4), round(per_percent, 4))


def draw_response(rng: np.random.Generator, effect: SiteEffect, age) -> np.ndarray:
    """Each person's own response: normal about the site's mean, sd 4 % of weight (project's choice); none under 18."""
    response = rng.normal(effect.mean_change, BETWEEN_PEOPLE_SD, len(age)).clip(-0.22, 0.15)
    return np.where(np.asarray(age) >= ADULT_AGE, response, 0.0)


def progress(quarters_in_programme) -> np.ndarray:
    """The share of the four-quarter response reached: fast at first, 1 after four quarters, 1.14 at the very last.

    Source   project's choice: (1 - exp(-t/2)) / (1 - exp(-2)), t in quarters, 0 before the programme.
    """
    t = np.maximum(np.asarray(quarters_in_programme, dtype=float), 0.0)
    return (1 - np.exp(-t / 2)) / (1 - np.exp(-2))


def comes_again_probability(effect: SiteEffect, relative_change) -> np.ndarray:
    """Chance of another visit, given the true change so far: those who lost weight return more often."""
    log_odds = effect.return_log_odds - effect.return_per_percent * 100 * np.asarray(relative_change)
    return 1 / (1 + np.exp(-log_odds))
