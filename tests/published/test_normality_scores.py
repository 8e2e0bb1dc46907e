"""The normal scores of skewness, kurtosis and variance behind the Q-statistics."""

import numpy as np
import pytest
from scipy.stats import chi2, kurtosistest, norm, skewtest

from pipeline.statistics.q_statistics import kurtosis_score, moment_scores, skewness_score


# D'Agostino (1970) Biometrika 57:679-681 and Anscombe & Glynn (1983) Biometrika 70:227-234, as scipy 1.17 has them
# (skewtest, kurtosistest), on samples of three shapes and sizes.
@pytest.mark.parametrize("people", [25, 200, 50_000])
@pytest.mark.parametrize("shape", ["normal", "skewed", "heavy"])
def test_scores_of_skewness_and_kurtosis_agree_with_scipy(people, shape):
    random = np.random.default_rng(5)
    sample = {
        "normal": random.standard_normal(people),
        "skewed": random.gamma(4, size=people),
        "heavy": random.standard_t(5, size=people),
    }[shape]
    value, n = np.unique(np.round(sample, 2), return_counts=True)
    expanded = np.repeat(value, n)
    *_, skewness, kurtosis = moment_scores(value, n.astype(float))
    assert skewness == pytest.approx(skewtest(expanded).statistic, rel=1e-8)
    assert kurtosis == pytest.approx(kurtosistest(expanded).statistic, rel=1e-8)


# D'Agostino, Belanger & D'Agostino (1990) Am Stat 44:316-321: cholesterol of 62 people, skewness √b1 = 1.02 and
# kurtosis b2 = 4.58 with Z = 3.14 and 2.21. From memory.
def test_scores_of_the_framingham_example():
    assert skewness_score(1.02, 62) == pytest.approx(3.14, abs=0.02)
    assert kurtosis_score(4.58, 62) == pytest.approx(2.21, abs=0.02)


# Wilson & Hilferty (1931) PNAS 17:684-688: the cube root of χ²/ν is near normal; the score of the variance is the
# normal quantile of the χ² probability, to a hundredth from 20 people on.
@pytest.mark.parametrize("people", [20, 300])
@pytest.mark.parametrize("share", [0.025, 0.5, 0.975])
def test_the_score_of_the_variance_is_the_normal_quantile_of_chi_square(people, share):
    value, n = np.array([-1.0, 1.0]), np.full(2, people / 2)
    wanted = chi2.ppf(share, people - 1) / (people - 1)
    score = moment_scores(value * np.sqrt(wanted * (people - 1) / people), n)[1]
    assert score == pytest.approx(norm.ppf(share), abs=0.02)
