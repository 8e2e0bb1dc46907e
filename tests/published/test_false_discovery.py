"""Control of the false discovery rate."""

import numpy as np
import pytest
from scipy.stats import false_discovery_control
from statsmodels.stats.multitest import multipletests

from pipeline.statistics.false_discovery import benjamini_hochberg

# Benjamini & Hochberg (1995) J R Stat Soc B 57:289-300, section 3.3: fifteen p-values (from memory); at q = 0.05 four
# are rejected, where Bonferroni and Holm reject three.
P = [
    0.0001,
    0.0004,
    0.0019,
    0.0095,
    0.0201,
    0.0278,
    0.0298,
    0.0344,
    0.0459,
    0.3240,
    0.4262,
    0.5719,
    0.6528,
    0.7590,
    1.000,
]


def test_the_papers_example():
    adjusted = benjamini_hochberg(P)
    first = [0.0015, 0.0030, 0.0095, 0.035625, 0.0603, 0.063857, 0.063857, 0.0645, 0.0765]
    assert adjusted[:9] == pytest.approx(first, abs=5e-7)
    assert np.sum(adjusted <= 0.05) == 4
    assert np.sum(multipletests(P, 0.05, method="holm")[0]) == 3


def test_scipy_and_statsmodels_agree_in_any_order():
    p = np.random.default_rng(0).permutation(P * 3)
    assert benjamini_hochberg(p) == pytest.approx(false_discovery_control(p), rel=1e-12)
    assert benjamini_hochberg(p) == pytest.approx(multipletests(p, method="fdr_bh")[1], rel=1e-12)
