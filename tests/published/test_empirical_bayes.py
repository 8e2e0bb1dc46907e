"""Shrinkage of many sites towards their mean."""

import numpy as np
import pytest

from pipeline.statistics.empirical_bayes import shrink

# Efron & Morris (1975) JASA 70:311-319; (1977) Sci Am 236(5):119-127: eighteen batters, hits of the first 45 at-bats.
# Data and printed values (.212, .294) from memory; they agree with each other by computation.
HITS = np.array([18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7])


def test_batters_are_drawn_in_as_by_efron_and_morris():
    average = HITS / 45
    variance = np.full(18, average.mean() * (1 - average.mean()) / 45)
    found = shrink(average, variance)
    assert found.mean == pytest.approx(0.265432, abs=5e-7)
    assert 1 - found.shrinkage == pytest.approx(np.full(18, 0.211653), abs=5e-6)  # printed .212
    assert found.value[0] == pytest.approx(0.294, abs=5e-4)
    assert found.value[0] == pytest.approx(0.2939, abs=5e-5)


# Efron & Morris (1977): shrunken averages foretell the rest of the season better than the averages themselves;
# the first batter ended at .346, the last at .200 (from memory: the paper's table of the remaining at-bats).
REST = np.array(
    [
        0.346,
        0.298,
        0.276,
        0.222,
        0.273,
        0.270,
        0.263,
        0.210,
        0.269,
        0.230,
        0.264,
        0.256,
        0.303,
        0.264,
        0.226,
        0.286,
        0.316,
        0.200,
    ]
)


def test_shrunken_averages_foretell_the_rest_of_the_season_better():
    average = HITS / 45
    found = shrink(average, np.full(18, average.mean() * (1 - average.mean()) / 45))
    ratio = np.sum((average - REST) ** 2) / np.sum((found.value - REST) ** 2)
    assert ratio == pytest.approx(3.5, abs=0.1)  # the paper: total squared error smaller by a factor of 3.5
    assert np.mean((found.low <= REST) & (found.high >= REST)) >= 0.9


# Morris (1983) JASA 78:47-55: averaged over sites, the intervals cover at their nominal rate or above, also when τ² is
# estimated from few sites. Where sites hardly differ they are wide (98.6 % at the smallest τ² here): the price of not
# knowing so.
@pytest.mark.parametrize("between", [0.1, 0.5, 2.0])
def test_intervals_cover_on_average(between):
    random = np.random.default_rng(11)
    variance = np.tile([0.3, 0.6, 1.0, 1.6], 3)
    covered = []
    for _ in range(4000):
        truth = random.normal(0, np.sqrt(between), 12)
        found = shrink(random.normal(truth, np.sqrt(variance)), variance)
        covered.append(np.mean((found.low <= truth) & (truth <= found.high)))
    assert 0.945 < np.mean(covered) < 0.99
