"""Technical error of measurement and reliable change against published worked examples."""

import numpy as np
import pytest

from pipeline.statistics.measurement_error import least_reliable_change, technical_error

# Bland JM, Altman DG (1986) Lancet i:307-310, table of peak flow by a large meter, 17 people twice (l/min).
LARGE_METER = [
    (494, 490), (395, 397), (516, 512), (434, 401), (476, 470), (557, 611), (413, 415), (442, 431), (650, 638),
    (433, 429), (417, 420), (656, 633), (267, 275), (478, 492), (178, 165), (423, 372), (427, 421),
]  # fmt: skip


def of_pairs(pairs):
    one, other = np.array(pairs, dtype=float).T
    both = np.concatenate([one, other])
    return technical_error(len(pairs), np.sum((other - one) ** 2), both.size, both.sum(), np.sum(both**2))


def test_technical_error_of_bland_and_altmans_peak_flow():
    found = of_pairs(LARGE_METER)
    # formula: Ulijaszek SJ, Kerr DA (1999) Br J Nutr 82:165-177; figures worked out with NumPy from the published pairs
    assert found.error == pytest.approx(15.30667, abs=5e-6)
    assert found.percent == pytest.approx(3.4176, abs=5e-5)
    # the paper's coefficient of repeatability is twice the standard deviation of differences: 43.2 from the
    # rounded 21.6
    assert 2 * found.error * np.sqrt(2) == pytest.approx(43.29, abs=5e-3)


def test_reliability_is_one_less_the_share_of_error():
    found, values = of_pairs(LARGE_METER), np.array(LARGE_METER, dtype=float).ravel()
    assert found.reliability == pytest.approx(1 - found.error**2 / np.var(values, ddof=1), abs=1e-12)


# Jacobson NS, Truax P (1991) J Consult Clin Psychol 59:12-19, the paper's worked example (from memory): s1 = 7.5,
# reliability .80, scores 32.5 before and 47.5 after; S_E 3.354, S_diff 4.74, RC 3.16.
def test_reliable_change_of_jacobson_and_truax():
    error = 7.5 * np.sqrt(1 - 0.80)
    assert error == pytest.approx(3.35410, abs=5e-6)
    least = least_reliable_change(error)
    assert (47.5 - 32.5) / (least / 1.959964) == pytest.approx(3.16228, abs=5e-6)
    assert least < 47.5 - 32.5  # the client's change is reliable


# z·√2·SEM, exact by formula: de Vet HCW et al. (2006) J Clin Epidemiol 59:1033-1039 (from memory)
@pytest.mark.parametrize(("error", "least"), [(0.5, 1.385904), (1.0, 2.771808)])
def test_smallest_detectable_change(error, least):
    assert least_reliable_change(error) == pytest.approx(least, abs=5e-6)


def test_no_pair_is_an_error_and_equal_readings_have_no_reliability():
    with pytest.raises(ValueError, match="0 pairs"):
        technical_error(0, 0, 0, 0, 0)
    assert np.isnan(technical_error(1, 0.0, 2, 140.0, 9800.0).reliability)
    assert technical_error(1, 0.0, 2, 140.0, 9800.0).error == 0
