"""Coverage of the order-statistic limits of percentiles, of one site and of all sites together.

`python tests/benchmarks/coverage_of_percentiles.py` draws values, prints them at the measure's resolution and asks how
often the limits hold the true percentile as printed. Limits that do not exist leave that side open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from clustered_people import site_normals, site_sizes
from coverage_table import Row, covering, simulated, table, write_page
from scipy.special import ndtri

from pipeline.statistics.value_count import ValueCounts, quantile_interval

PERCENTS = np.array([3, 10, 25, 50, 75, 90, 97])
REPLICATES = 2_000
LEAST_BEYOND = 10  # people expected on either side of a percentile for it to be published


@dataclass(frozen=True)
class Values:
    """exp(level + sd·z) printed to `step`: a right-skewed measure, or with a coarse step a level of a few numbers."""

    title: str
    sites: int
    people: int
    icc: float = 0.0
    step: float = 0.1
    spread: float = 0.6
    largest: float = 0.0
    level: float = float(np.log(27.0))
    sd: float = 0.18


ONE_SITE = (
    Values("30 people", 1, 30),
    Values("100 people", 1, 100),
    Values("1,000 people", 1, 1000),
    Values("1,000 people, coarse print (about 10 values)", 1, 1000, step=3.0),
)
