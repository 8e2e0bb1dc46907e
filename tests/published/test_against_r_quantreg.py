"""Regression quantiles against R's quantreg, run live.

R package quantreg (Koenker) from Debian; Koenker & Bassett (1978) Econometrica 46:33-50. rq(method = "br") is the exact
simplex of Barrodale & Roberts (1974), as modified by Koenker & d'Orey (1987) Appl Stat 36:383-393.
"""

import numpy as np
import pytest

from pipeline.statistics.quantile_curve import fit_quantile_curves, regression_quantile


def line(x, y, share):
    """Coefficients of a constant and x."""
    order = np.lexsort((y, x))
    ages, at = np.unique(x[order], return_inverse=True)
    design = np.column_stack([np.ones(ages.size), ages])
    return regression_quantile(design, at, y[order], np.ones(y.size), share)


# Engel's 235 households in quantreg: Koenker & Hallock (2001) J Econ Perspect 15:143-156.
def test_engels_households(r):
    of_r = r(
        """
data(engel)
found <- list(income = engel$income, food = engel$foodexp)
for (tau in c(10, 25, 50, 75, 90))
  found[[as.character(tau)]] <- as.numeric(coef(rq(foodexp ~ income, tau / 100, engel)))
""",
        ["quantreg"],
    )
    income, food = np.array(of_r["income"]), np.array(of_r["food"])
    for percent in (10, 25, 50, 75, 90):
        assert line(income, food, percent / 100) == pytest.approx(of_r[str(percent)], rel=1e-8)


# VGAM::bmi.nz, 700 adults: BMI on a straight line of age; median 25.174978 + 0.020334·age on record (quantreg 5.94).
def test_bmi_of_700_adults(r):
    of_r = r(
        """
data(bmi.nz)
found <- list(age = bmi.nz$age, bmi = bmi.nz$BMI)
for (tau in c(5, 25, 50, 75, 95)) found[[as.character(tau)]] <- as.numeric(coef(rq(BMI ~ age, tau / 100, bmi.nz)))
""",
        ["VGAM", "quantreg"],
    )
    age, bmi = np.array(of_r["age"]), np.array(of_r["bmi"])
    for percent in (5, 25, 50, 75, 95):
        assert line(age, bmi, percent / 100) == pytest.approx(of_r[str(percent)], rel=1e-8)
    assert line(age, bmi, 0.5) == pytest.approx([25.174978, 0.020334], abs=1e-6)


# The same people as the project keeps them, value counts at whole ages and tenths, on the project's own splines: R is
# given the basis and the counts as weights. The optimum is one number, whatever the vertex where a solver stops.
@pytest.mark.parametrize("percent", [3, 10, 50, 90, 97])
def test_weighted_counts_on_splines_of_age(r, bmi_counts, percent):
    age, value, n = bmi_counts
    found = fit_quantile_curves(age, value, n, [percent])
    basis = found.spline.basis(age)
    columns = {f"b{j}": basis[:, j] for j in range(basis.shape[1])}
    of_r = r(
        f"""
design <- as.matrix(cells[, grepl("^b", names(cells))])
fit <- rq.wfit(design, cells$value, tau = {percent / 100}, weights = cells$n, method = "br")
found <- list(coefficients = as.numeric(fit$coefficients))
""",
        ["quantreg"],
        cells={"value": value, "n": n, **columns},
    )

    def loss(coefficients):
        away = value - basis @ np.asarray(coefficients)
        return n @ np.where(away > 0, percent / 100 * away, (percent / 100 - 1) * away)

    assert loss(found.coefficients[0]) == pytest.approx(loss(of_r["coefficients"]), rel=1e-10)


@pytest.fixture(scope="module")
def bmi_counts(r):
    found = r("data(bmi.nz); found <- list(age = floor(bmi.nz$age), bmi = round(bmi.nz$BMI, 1))", ["VGAM"])
    cells, n = np.unique(np.column_stack([found["age"], found["bmi"]]), axis=0, return_counts=True)
    return cells[:, 0], cells[:, 1], n.astype(float)
