import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.clustered_proportion import clustered_proportion, jackknifed_proportion
from pipeline.statistics.direct_standardisation import (
    binomial_variance,
    clustered_variance,
    fay_feuer_interval,
    jackknifed_variance,
    logit_interval,
    standardised_proportion,
)
from pipeline.statistics.indirect_standardisation import expected_count, ratio_interval, standardised_ratio
from pipeline.statistics.standard_population import standard_weights

STRATUM = st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
STRATA = st.lists(STRATUM, min_size=1, max_size=8)
BANDS = pl.DataFrame(
    {"standard": ["S"] * 4, "age_band": ["0", "1-19", "20-94", "95+"], "weight": [1.0, 4.0, 10.0, 5]}
)


@given(STRATA)
def test_standardising_to_the_populations_own_structure_returns_the_crude_prevalence(strata):
    count, people = np.array(strata).T
    assert standardised_proportion(count, people, people)[0] == pytest.approx(
        count.sum() / people.sum(), rel=1e-12
    )


@given(STRATA)
def test_standardising_to_the_sites_own_structure_indirectly_expects_what_it_has(strata):
    count, people = np.array(strata).T
    assert expected_count(people, count / people)[0] == pytest.approx(count.sum(), rel=1e-12, abs=1e-12)


@given(STRATA, st.floats(0.01, 100))
def test_the_scale_of_the_weights_does_not_matter(strata, scale):
    count, people = np.array(strata).T
    weight = np.arange(1, len(strata) + 1)
    for function in (standardised_proportion, binomial_variance, fay_feuer_interval):
        one, other = (
            np.ravel(function(count, people, weight)),
            np.ravel(function(count, people, weight * scale)),
        )
        assert one == pytest.approx(other, rel=1e-9, abs=1e-12)


@given(STRATA)
def test_the_gamma_interval_holds_the_rate(strata):
    count, people = np.array(strata).T
    rate = standardised_proportion(count, people, np.ones(len(strata)))[0]
    low, high = (limit[0] for limit in fay_feuer_interval(count, people, np.ones(len(strata))))
    assert 0 <= low <= rate <= high


def test_a_stratum_with_weight_and_nobody_makes_the_cell_missing_and_one_without_weight_does_not():
    count, people = [[3, 0], [3, 1]], [[10, 0], [10, 5]]
    for function in (standardised_proportion, binomial_variance, lambda *a: fay_feuer_interval(*a)[1]):
        assert np.isnan(function(count, people, [1, 1])).tolist() == [True, False]
        assert np.isnan(function(count, people, [1, 0])).tolist() == [False, False]


def test_one_stratum_has_the_variances_of_a_plain_proportion():
    assert binomial_variance([3], [10], [7.0])[0] == pytest.approx(0.3 * 0.7 / 10)
    yes, sizes = np.array([3, 8, 2, 9]), np.array([10, 30, 9, 20])
    variance, freedom = clustered_variance(yes[:, None], sizes[:, None], [2.0])
    plain = clustered_proportion(yes, sizes)
    assert variance == pytest.approx(plain.variance[0], rel=1e-12)
    assert freedom == plain.freedom[0]
    variance, freedom = jackknifed_variance(yes[:, None], sizes[:, None], [2.0])
    plain = jackknifed_proportion(yes, sizes)
    assert (variance, freedom) == pytest.approx((plain.variance[0], plain.freedom[0]), rel=1e-12)


def test_one_site_has_no_clustered_variance():
    assert np.isnan(clustered_variance([[3, 4]], [[10, 10]], [1, 1])[0])
    assert np.isnan(jackknifed_variance([[3, 4]], [[10, 10]], [1, 1])[0])


def test_the_jackknife_of_several_strata_is_near_what_leaving_out_each_site_does():
    random, weight = np.random.default_rng(4), np.array([3.0, 2.0, 1.0])
    people = random.integers(40, 400, (8, 3))
    count = random.binomial(people, random.beta(20, 60, (8, 1)))
    whole = standardised_proportion(count.sum(axis=0), people.sum(axis=0), weight)
    without = [
        standardised_proportion(np.delete(count, k, 0).sum(axis=0), np.delete(people, k, 0).sum(axis=0), weight)
        for k in range(8)
    ]
    jackknife = 7 / 8 * sum((one[0] - whole[0]) ** 2 for one in without)
    assert jackknifed_variance(count, people, weight)[0] == pytest.approx(jackknife, rel=0.1)


def test_the_logit_interval_stays_inside_and_is_missing_at_the_ends():
    low, high = logit_interval([0.02, 0.0, 1.0, 0.5], [0.0004, 0.0, 0.0, 0.01], [np.inf, 5, 5, 0])
    assert 0 < low[0] < 0.02 < high[0] < 1
    assert np.isnan(low[1:]).all()
    assert np.isnan(high[1:]).all()


def test_a_ratio_without_anybody_observed_or_expected():
    low, high = ratio_interval([0, 3, 0], [10, 10, 0], [4.0, 0.0, 4.0])
    assert low[0] == 0
    assert high[0] == pytest.approx(1.96**2 / (10 + 1.96**2) * 10 / 4, rel=1e-4)  # Wilson's for nobody: z²/(n + z²)
    assert np.isnan([low[1], high[1], low[2], high[2]]).all()
    assert np.isnan(standardised_ratio([3], [0.0])[0])


def test_a_stratum_without_reference_matters_only_where_somebody_is_in_it():
    assert np.isnan(expected_count([[5, 1], [5, 0]], [0.2, np.nan])).tolist() == [True, False]


def test_an_open_band_stands_whole_and_bands_outside_are_left_out():
    weights = standard_weights(BANDS, "S", 1, 99)
    assert weights.rows() == [(1, 19, 4 / 19), (20, 94, 10 / 19), (95, 99, 5 / 19)]
    assert standard_weights(BANDS, "S", 20, 94).rows() == [(20, 94, 1.0)]


@pytest.mark.parametrize(
    ("standard", "ages", "message"),
    [
        ("T", (0, 99), "no standard population T; choices are S"),
        ("S", (5, 99), "has the band 1-19; ages 5 to 99 would split it"),
        ("S", (20, 90), "has the band 20-94; ages 20 to 90 would split it"),
    ],
)
def test_a_standard_that_cannot_be_used_is_refused(standard, ages, message):
    with pytest.raises(ValueError, match=message):
        standard_weights(BANDS, standard, *ages)


def test_weights_and_counts_that_cannot_be_are_refused():
    with pytest.raises(ValueError, match="none below 0 and a sum above 0"):
        standardised_proportion([1], [2], [-1.0])
    with pytest.raises(ValueError, match="cell 0, stratum 1: 3 in the band of 2 measured"):
        standardised_proportion([1, 3], [2, 2], [1, 1])
    with pytest.raises(ValueError, match="cell 0: -1 in the band of 5 measured"):
        ratio_interval([-1], [5], [2.0])
