"""Clustered proportions and standardised proportions against R's survey package, run live.

R package survey (Lumley 2004, J Stat Softw 9(8)) from Debian, on its own data apiclus1: 183 schools of 15 districts in
California, sampled by district. Taylor linearisation: Korn & Graubard, Analysis of Health Surveys (1999) ch. 2.
"""

import numpy as np
import pytest

from pipeline.statistics.clustered_proportion import clustered_proportion, korn_graubard_interval
from pipeline.statistics.direct_standardisation import (
    clustered_variance,
    logit_interval,
    standardised_proportion,
)
from pipeline.statistics.trend import trend_over_periods

INDICATORS = ("sch.wide", "comp.imp", "awards", "good", "elementary")

SCHOOLS = """
data(api)
schools <- data.frame(district = apiclus1$dnum, type = as.character(apiclus1$stype),
  sch.wide = apiclus1$sch.wide == "Yes", comp.imp = apiclus1$comp.imp == "Yes", awards = apiclus1$awards == "Yes",
  good = apiclus1$api00 > 600, elementary = apiclus1$stype == "E")
"""

ESTIMATES = (
    SCHOOLS
    + """
design <- suppressWarnings(svydesign(id = ~district, data = schools))
one <- function(name) {
  formula <- as.formula(paste0("~as.numeric(", name, ")"))
  mean <- svymean(formula, design, deff = "replace")
  limits <- function(method) as.numeric(attr(svyciprop(formula, design, method = method), "ci"))
  sums <- tapply(schools[[name]], schools$district, sum)
  list(proportion = as.numeric(coef(mean)), error = as.numeric(SE(mean)), deff = as.numeric(deff(mean)),
    beta = limits("beta"), logit = limits("logit"), yes = as.numeric(sums))
}
found <- lapply(setNames(nm = c("sch.wide", "comp.imp", "awards", "good", "elementary")), one)
found$sizes <- as.numeric(table(schools$district))
found$freedom <- degf(design)
"""
)


@pytest.fixture(scope="module")
def estimates(r):
    return r(ESTIMATES, ["survey"])


# svymean(deff = "replace"). R's simple variance is p(1 − p)/(n − 1); ours has n, as in Kish (1965).
@pytest.mark.parametrize("name", INDICATORS)
def test_variance_design_effect_and_freedom(estimates, name):
    of_r = estimates[name]
    found = clustered_proportion(of_r["yes"], estimates["sizes"])
    assert found.proportion[0] == pytest.approx(of_r["proportion"], rel=1e-12)
    assert np.sqrt(found.variance[0]) == pytest.approx(of_r["error"], rel=1e-10)
    assert found.design_effect[0] * 182 / 183 == pytest.approx(of_r["deff"], rel=1e-10)
    assert found.freedom[0] == estimates["freedom"] == 14


# svyciprop(method = "beta") is Korn & Graubard (1998) without a cap on the effective size: where clustering costs
# people (a design effect above 1) the cap does not bind and the limits are the same. Below 1 ours are wider on purpose.
@pytest.mark.parametrize("name", INDICATORS)
def test_korn_graubard_limits(estimates, name):
    of_r = estimates[name]
    cells = clustered_proportion(of_r["yes"], estimates["sizes"])
    low, high = (limit[0] for limit in korn_graubard_interval(cells))
    if cells.design_effect[0] >= 1:
        assert (low, high) == pytest.approx(of_r["beta"], rel=1e-9)
    else:
        assert low < of_r["beta"][0]
        assert high > of_r["beta"][1]


def test_both_sides_of_the_cap_are_among_the_indicators(estimates):
    effects = [
        clustered_proportion(estimates[name]["yes"], estimates["sizes"]).design_effect[0] for name in INDICATORS
    ]
    assert min(effects) < 1 < 9 < max(effects)


# svyciprop(method = "logit").
@pytest.mark.parametrize("name", INDICATORS)
def test_logit_limits(estimates, name):
    of_r = estimates[name]
    limits = np.ravel(logit_interval([of_r["proportion"]], [of_r["error"] ** 2], [estimates["freedom"]]))
    assert limits == pytest.approx(of_r["logit"], rel=1e-9)


# svyby(covmat = TRUE) and svycontrast: the weighted sum of domain proportions with the whole covariance between them.
# The standard: 6 elementary, 3 high and 1 middle schools in ten; each type is in several districts.
def test_a_standardised_proportion_with_sites_as_clusters(r):
    found = r(
        SCHOOLS
        + """
design <- suppressWarnings(svydesign(id = ~district, data = schools))
by <- svyby(~as.numeric(good), ~type, design, svymean, covmat = TRUE)
contrast <- svycontrast(by, c(0.6, 0.3, 0.1))   # types in R's order: E, H, M
cells <- as.data.frame(table(district = schools$district, type = schools$type))
cells$yes <- as.data.frame(xtabs(good ~ district + type, schools))$Freq
found <- list(types = as.character(by$type), proportion = as.numeric(coef(contrast)),
  error = as.numeric(SE(contrast)), people = cells$Freq, yes = cells$yes)
""",
        ["survey"],
    )
    assert found["types"] == ["E", "H", "M"]
    people, yes = (np.reshape(found[name], (3, 15)).T for name in ("people", "yes"))
    weight = [0.6, 0.3, 0.1]
    rate = standardised_proportion(yes.sum(axis=0), people.sum(axis=0), weight)
    variance, freedom = clustered_variance(yes, people, weight)
    assert rate[0] == pytest.approx(found["proportion"], rel=1e-12)
    assert np.sqrt(variance) == pytest.approx(found["error"], rel=1e-10)
    assert freedom == 14


# A table of our own: 24 sites of very unequal size, handed to R a person a row.
def test_sites_of_unequal_size(r):
    random = np.random.default_rng(5)
    people = np.rint(np.exp(random.normal(4, 0.9, 24))).astype(int) + 2
    count = random.binomial(people, random.beta(4, 12, 24))
    site = np.repeat(np.arange(24), people)
    yes = np.concatenate([np.repeat([1, 0], [x, n - x]) for x, n in zip(count, people, strict=True)])
    of_r = r(
        """
design <- suppressWarnings(svydesign(id = ~site, data = persons))
mean <- svymean(~yes, design, deff = "replace")
found <- list(error = as.numeric(SE(mean)), deff = as.numeric(deff(mean)),
  beta = as.numeric(attr(svyciprop(~yes, design, method = "beta"), "ci")))
""",
        ["survey"],
        persons={"site": site, "yes": yes},
    )
    cells = clustered_proportion(count, people)
    n = people.sum()
    assert np.sqrt(cells.variance[0]) == pytest.approx(of_r["error"], rel=1e-10)
    assert cells.design_effect[0] * (n - 1) / n == pytest.approx(of_r["deff"], rel=1e-10)
    assert np.ravel(korn_graubard_interval(cells)) == pytest.approx(of_r["beta"], rel=1e-9)


# svyglm over as.svrepdesign(type = "JK1", mse = TRUE): the logistic trend refitted with each site left out in turn.
# Ours takes one Newton step from the whole in place of each refit: the standard error moves by under one part in fifty.
def test_a_trend_over_periods(r):
    random = np.random.default_rng(6)
    site, period, stratum = (a.ravel() for a in np.meshgrid(np.arange(18), np.arange(5), np.arange(2)))
    log_odds = -1 + 0.4 * stratum + 0.08 * period + random.normal(0, 0.3, 18)[site]
    people = random.integers(20, 80, site.size)
    count = random.binomial(people, 1 / (1 + np.exp(-log_odds)))
    of_r = r(
        """
cells <- rbind(transform(cells, y = 1, w = count), transform(cells, y = 0, w = people - count))
design <- as.svrepdesign(svydesign(id = ~site, weights = ~w, data = cells), type = "JK1", mse = TRUE)
fit <- svyglm(y ~ period + factor(stratum), design, family = quasibinomial(), control = list(epsilon = 1e-12))
found <- list(slope = as.numeric(coef(fit)[2]), error = as.numeric(SE(fit)[2]))
""",
        ["survey"],
        cells={"site": site, "period": period, "stratum": stratum, "people": people, "count": count},
    )
    found = trend_over_periods(count, people, period, site, stratum)
    assert found.slope == pytest.approx(of_r["slope"], abs=1e-8)
    assert found.standard_error == pytest.approx(of_r["error"], rel=0.02)
