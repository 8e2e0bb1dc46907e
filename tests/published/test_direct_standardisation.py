"""Directly standardised rates and proportions, and their intervals."""

from importlib import resources

import numpy as np
import polars as pl
import pytest

from pipeline.statistics.direct_standardisation import (
    binomial_variance,
    clustered_variance,
    fay_feuer_interval,
    logit_interval,
    standardised_proportion,
)
from pipeline.statistics.standard_population import standard_weights


@pytest.fixture(scope="module")
def standards():
    with (resources.files("pipeline.reference") / "standard_populations.csv").open("rb") as file:
        return pl.read_csv(file)


# Fay & Feuer (1997) Stat Med 16:791-801, Table 1: Down syndrome by birth order (Fleiss 1981, p. 249), maternal age
# <20, 20–24, …, 40+; printed per 100,000 as 92.3 (80.4–105.8) and 91.2 (82.4–100.9). More places from R epitools
# 0.5-10.1, ageadjust.direct, whose help says that it recreates the table.
STANDARD = [63986.6, 186263.6, 157302.2, 97647.0, 47572.6, 12262.6]
DOWN = [
    (
        [107, 141, 60, 40, 39, 25],
        [230061, 329449, 114920, 39487, 14208, 3052],
        92.304526,
        80.441750,
        105.763346,
    ),
    (
        [25, 150, 110, 84, 82, 39],
        [72202, 326701, 208667, 83228, 28466, 5375],
        91.174117,
        82.361212,
        100.867576,
    ),
]


@pytest.mark.parametrize(("cases", "births", "rate", "low", "high"), DOWN)
def test_rates_and_gamma_limits_agree_with_fay_and_feuer(cases, births, rate, low, high):
    assert 1e5 * standardised_proportion(cases, births, STANDARD)[0] == pytest.approx(rate, abs=5e-7)
    limits = np.ravel(fay_feuer_interval(cases, births, STANDARD))
    assert 1e5 * limits == pytest.approx([low, high], abs=5e-7)


# Constructed on the WHO standard (Ahmad et al. 2001), ages 20–39, 40–59, 60–79, 80+; R 4.2.2.
COUNT, PEOPLE, WEIGHT = [18, 45, 38, 6], [200, 180, 120, 20], [30.91, 22.55, 10.41, 1.545]


def test_a_prevalence_on_the_who_standard():
    proportion = standardised_proportion(COUNT, PEOPLE, WEIGHT)
    error = np.sqrt(binomial_variance(COUNT, PEOPLE, WEIGHT))
    assert proportion[0] == pytest.approx(0.18618665, abs=5e-9)
    assert error[0] == pytest.approx(0.01633219, abs=5e-9)
    normal = proportion[0] + np.array([-1, 1]) * 1.959963985 * error[0]
    assert normal == pytest.approx([0.15417614, 0.21819717], abs=5e-9)
    assert np.ravel(fay_feuer_interval(COUNT, PEOPLE, WEIGHT)) == pytest.approx(
        [0.15177176, 0.22672974], abs=5e-9
    )


def test_the_weights_of_that_check_are_the_who_table(standards):
    bands = standard_weights(standards, "WHO2000_2025", 20, 99)
    edges = [(20, 39), (40, 59), (60, 79)]
    sums = [bands.filter(pl.col("age_from") >= a, pl.col("age_to") <= b)["weight"].sum() for a, b in edges]
    assert np.array(sums) / sum(sums) == pytest.approx(np.array(WEIGHT[:3]) / sum(WEIGHT[:3]), rel=1e-12)


# Korn & Graubard (1998) section 2; R survey 4.1.1, apiclus1, svyciprop(~sch.wide, method = "logit"): df = 14.
def test_the_logit_interval_agrees_with_r_survey():
    low, high = logit_interval([0.87431694], [0.02056424**2], [14])
    assert (low[0], high[0]) == pytest.approx((0.82321803, 0.91222062), abs=5e-7)


# R survey 4.1.1, apiclus1: one stratum is a plain clustered proportion, standard error 0.02056424.
def test_the_clustered_variance_of_one_stratum_agrees_with_r_survey():
    sizes = np.array([[13], [34], [4], [13], [16], [2], [1], [4], [12], [21], [9], [11], [37], [2], [4]])
    yes = np.array([[11], [31], [3], [10], [15], [2], [1], [4], [12], [18], [7], [11], [32], [1], [2]])
    variance, freedom = clustered_variance(yes, sizes, [1.0])
    assert np.sqrt(variance) == pytest.approx(0.02056424, abs=5e-9)
    assert freedom == 14


# Ahmad et al., GPE Discussion Paper 31 (2001): the printed percentages add to 100.035, so the ages used are rescaled.
# Eurostat KS-RA-13-028 (2013): the European standard adds to 100,000; Klein & Schoenborn (2001): the US one, a million.
@pytest.mark.parametrize(
    ("standard", "total"), [("WHO2000_2025", 100.035), ("ESP2013", 100_000), ("US2000", 1_000_000)]
)
def test_standards_add_to_their_published_totals_and_weights_to_one(standards, standard, total):
    assert standards.filter(pl.col("standard") == standard)["weight"].sum() == pytest.approx(total, rel=1e-12)
    assert standard_weights(standards, standard, 25, 99)["weight"].sum() == pytest.approx(1, abs=1e-12)
