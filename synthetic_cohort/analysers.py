"""The analysers of a site and what is wrong with each: bias, drift, a shift, noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_cohort.places import Place
from synthetic_cohort.visits import DAYS_A_QUARTER, quarter_day

# The planted faults of the demo, at one hand-named site each, so that later work can look for them.
SHIFT_SITE, SHIFT_KG = 3, 1.0  # the second analyser is off by this from the middle of the programme
DRIFT_SITE, DRIFT_KG_A_QUARTER = 6, 0.5
CONSTANT_WATER_SITE, WATER_CONSTANT = 9, 0.73

_HOW_MANY = {"gym": 2, "clinic": 1, "school": 1, "workplace": 2, "community": 1}


@dataclass(frozen=True)
class Analysers:
    """Shapes: every array is (analysers of the site,)."""

    names: tuple[str, ...]
    weight_bias_kg: np.ndarray
    weight_noise_kg: np.ndarray
    drift_kg_a_quarter: np.ndarray
    shift_kg: np.ndarray
    shift_day: np.ndarray  # from this day on; past the end where there is none
    fat_bias_percent: np.ndarray  # percentage points
    fat_noise_percent: np.ndarray
    water_constant: float  # nan: water is measured

    def __len__(self) -> int:
        return len(self.names)

    def weight_error_kg(self, which: np.ndarray, day: np.ndarray, first_day: int) -> np.ndarray:
        """Bias, drift since the site's first day, and shift; without noise."""
        drifted = self.drift_kg_a_quarter[which] * (day - first_day) / DAYS_A_QUARTER
        shifted = np.where(day >= self.shift_day[which], self.shift_kg[which], 0.0)
        return self.weight_bias_kg[which] + drifted + shifted


def draw_analysers(rng: np.random.Generator, place: Place, quarters: int) -> Analysers:
    """The analysers of one site.

    Source   all spreads are the project's choice. Weight: bias sd 0.08 kg and noise sd 0.07 kg keep most analysers
             within the ±0.2 kg in-service limit of a 100 g class III platform (OIML R 76-1). Fat: bias sd 0.8 and
             noise sd 0.45 percentage points.
    """
    n = _HOW_MANY[place.kind]
    drift, shift = np.zeros(n), np.zeros(n)
    shift_day = np.full(n, quarter_day(quarters), dtype=np.int64)
    if place.number == DRIFT_SITE:
        drift[0] = DRIFT_KG_A_QUARTER
    if place.number == SHIFT_SITE:
        shift[-1] = SHIFT_KG
        shift_day[-1] = (quarter_day(place.first_quarter) + quarter_day(quarters)) // 2
    return Analysers(
        names=tuple(f"A{place.number + 1:02d}-{i + 1}" for i in range(n)),
        weight_bias_kg=rng.normal(0, 0.08, n).round(3),
        weight_noise_kg=np.full(n, 0.07),
        drift_kg_a_quarter=drift,
        shift_kg=shift,
        shift_day=shift_day,
        fat_bias_percent=rng.normal(0, 0.8, n).round(2),
        fat_noise_percent=np.full(n, 0.45),
        water_constant=WATER_CONSTANT if place.number == CONSTANT_WATER_SITE else float("nan"),
    )
