"""Between-site variance against R's metafor, run live.

R package metafor (Viechtbauer 2010, J Stat Softw 36(3)) from Debian. DerSimonian & Laird (1986) Control Clin Trials
7:177-188; Higgins & Thompson (2002) Stat Med 21:1539-1558.
"""

import numpy as np
import pytest

from pipeline.statistics.empirical_bayes import shrink
from pipeline.statistics.heterogeneity import dersimonian_laird

SUMMARY = """
summary_of <- function(yi, vi) {
  fit <- rma(yi, vi, method = "DL")
  limits <- rma(yi, vi, method = "DL", test = "adhoc")  # Hartung & Knapp, never narrower than the normal
  list(yi = as.numeric(yi), vi = as.numeric(vi), mean = as.numeric(fit$beta), error = fit$se, low = limits$ci.lb,
    high = limits$ci.ub, tau2 = fit$tau2, q = fit$QE, p = fit$QEp, i2 = fit$I2, h2 = fit$H2)
}
"""


def agrees(of_r, p_digits=1e-6):
    found = dersimonian_laird(of_r["yi"], of_r["vi"])
    assert (found.mean, found.standard_error) == pytest.approx((of_r["mean"], of_r["error"]), rel=1e-10)
    assert (found.low, found.high) == pytest.approx((of_r["low"], of_r["high"]), rel=1e-10)
    assert found.between_variance == pytest.approx(of_r["tau2"], rel=1e-9, abs=1e-12)
    assert found.q == pytest.approx(of_r["q"], rel=1e-10)
    assert found.p == pytest.approx(of_r["p"], rel=p_digits)


# dat.bcg: thirteen trials of a vaccine (Colditz et al. 1994, JAMA 271:698-702), log risk ratios by escalc.
def test_thirteen_trials(r):
    of_r = r(
        SUMMARY
        + """
es <- escalc(measure = "RR", ai = tpos, bi = tneg, ci = cpos, di = cneg, data = dat.bcg)
found <- summary_of(es$yi, es$vi)
""",
        ["metafor"],
    )
    agrees(of_r)
    found = dersimonian_laird(of_r["yi"], of_r["vi"])
    assert found.i_squared * 100 == pytest.approx(of_r["i2"], rel=1e-9)
    assert found.h_squared == pytest.approx(of_r["h2"], rel=1e-9)


# Tables of our own, sites that differ and sites that do not. metafor's I² and H² come from τ²; where sites are less
# unlike than chance makes them τ² and I² are 0 in both.
@pytest.mark.parametrize(("between", "seed"), [(0.05, 1), (0.0, 3)])
def test_shares_of_sites(r, between, seed):
    random = np.random.default_rng(seed)
    people = random.integers(40, 900, 24)
    share = random.binomial(people, np.clip(random.normal(0.3, between, 24), 0.05, 0.95)) / people
    of_r = r(
        SUMMARY + "found <- summary_of(sites$share, sites$variance)",
        ["metafor"],
        sites={"share": share, "variance": share * (1 - share) / people},
    )
    agrees(of_r)
    found = dersimonian_laird(of_r["yi"], of_r["vi"])
    assert (found.between_variance > 0) == (between > 0)
    assert found.i_squared * 100 == pytest.approx(of_r["i2"], rel=1e-9, abs=1e-9)


# rma(method = "EB"): Morris (1983) JASA 78:47-55, whose τ² solves Σ (y − μ)²/(v + τ²) = k − 1. His shrinkage has the
# factor (k − 3)/(k − 1) beside it, which blup() has not: undone here, our shrunken values are R's.
def test_shrunken_values(r):
    random = np.random.default_rng(4)
    variance = random.uniform(0.5, 3, 16)
    value = random.normal(25, np.sqrt(1.2 + variance))
    of_r = r(
        """
fit <- rma(sites$value, sites$variance, method = "EB", control = list(threshold = 1e-12, maxiter = 5000))
found <- list(mean = as.numeric(fit$beta), tau2 = fit$tau2, blup = as.numeric(blup(fit)$pred))
""",
        ["metafor"],
        sites={"value": value, "variance": variance},
    )
    found = shrink(value, variance)
    assert found.mean == pytest.approx(of_r["mean"], rel=1e-8)
    assert found.between_variance == pytest.approx(of_r["tau2"], rel=1e-6)
    whole = found.shrinkage * 15 / 13
    assert whole * found.mean + (1 - whole) * value == pytest.approx(of_r["blup"], rel=1e-7)
