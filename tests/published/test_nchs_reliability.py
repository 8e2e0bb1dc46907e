"""The presentation standards for proportions of the US National Center for Health Statistics."""

import numpy as np
import pytest

from pipeline.statistics.proportion_interval import clopper_pearson_interval
from pipeline.statistics.reliability import nchs_reliability


# Parker et al. (2017) Vital Health Stat 2(175). Cut-offs and their order were read in the agency's published code;
# widths computed with R 4.2.2 binom.test.
@pytest.mark.parametrize(
    ("count", "people", "width", "status", "reason"),
    [
        (15, 29, 0.380199, "suppress", "fewer than 30 people"),
        (15, 30, 0.374059, "suppress", "interval 0.30 wide or more"),
        (10, 100, 0.127218, "present", ""),
        (9, 100, 0.121999, "suppress", "interval over 130 % of the proportion"),
        (4, 200, 0.044938, "present", ""),  # narrow: the relative width is not asked
        (95, 100, 0.096403, "footnote", "interval over 130 % of the complement"),
    ],
)
def test_cells_are_judged_as_by_the_standard(count, people, width, status, reason):
    low, high = clopper_pearson_interval([count], [people])
    assert (high - low)[0] == pytest.approx(width, abs=5e-7)
    found = nchs_reliability([count], [people], [people], low, high, [np.inf])
    assert (found[0][0], found[1][0]) == (status, reason)
