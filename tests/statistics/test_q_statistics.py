import numpy as np
import polars as pl
import pytest
from lms_truth import counted, inside_family, mixture

from pipeline.statistics.lms import fit_lms
from pipeline.statistics.q_statistics import MOMENTS, q_statistics
from pipeline.statistics.worm_plot import worm_plot

GROUPS = [(20, 29), (30, 39), (40, 49), (50, 59), (60, 69), (70, 79)]


def scored(population, people=20_000, seed=0):
    age, value, n = population(people, seed)
    fit = fit_lms(age, value, n)
    return q_statistics(age, fit.z_score(age, value), n, GROUPS, tuple(fit.freedom))


def test_a_good_fit_has_no_moment_far_from_normal_in_any_group():
    found = scored(inside_family)
    assert found.groups.select(MOMENTS).to_numpy() == pytest.approx(np.zeros((6, 4)), abs=3.5)
    assert found.tests["p"].drop_nans().min() > 0.001


def heavy_tailed(people, seed=0):
    random = np.random.default_rng(seed)
    return counted(random.integers(18, 90, people), 25 * np.exp(0.12 * random.standard_t(4, people)))


def test_heavy_tails_show_in_the_kurtosis():
    tests = {row["moment"]: row for row in scored(heavy_tailed).tests.iter_rows(named=True)}
    assert tests["kurtosis"]["p"] < 1e-6


# Why the gate of curve_choice looks at quantiles: L can bend until the first four moments of a mixture look normal.
def test_a_mixture_can_hide_from_the_moments_but_not_from_the_worm():
    age, value, n = mixture(20_000)
    fit = fit_lms(age, value, n)
    moments = q_statistics(age, fit.z_score(age, value), n, GROUPS, tuple(fit.freedom))
    assert moments.tests["p"].drop_nans().min() > 0.001
    worm = worm_plot(age, fit.z_score(age, value), n, GROUPS)
    assert worm.select((~pl.col("deviation").is_between("low", "high")).mean()).item() > 0.5


def test_each_sum_is_of_its_groups_and_its_degrees_are_what_the_curves_left():
    age, z, n = np.repeat([25, 35, 45], 41), np.tile(np.linspace(-2, 2, 41), 3), np.ones(123)
    found = q_statistics(age, z, n, GROUPS, freedom_used=(1.0, 2.0, 1.0))
    assert found.groups["n"].to_list() == [41, 41, 41]
    assert found.tests["q"].to_list() == pytest.approx([(found.groups[m] ** 2).sum() for m in MOMENTS])
    assert found.tests["freedom"].to_list() == [1.0, 2.0, 2.0, 3.0]


def test_a_shift_of_one_group_shows_in_its_mean_score():
    age, z, n = np.repeat([25, 35], 100), np.tile(np.linspace(-1.7, 1.7, 100), 2), np.ones(200)
    found = q_statistics(age, z + 0.5 * (age == 35), n, GROUPS)
    assert found.groups["mean"].to_list() == pytest.approx([0, 5], abs=1e-9)  # √100 · 0.5


def test_a_group_of_19_is_left_out_and_one_of_20_is_not():
    for people, groups in ((19, 0), (20, 1)):
        assert (
            q_statistics([25] * people, np.linspace(-2, 2, people), [1] * people, GROUPS).groups.height
            == groups
        )


def test_no_degrees_left_gives_no_p():
    found = q_statistics([25] * 40, np.linspace(-2, 2, 40), [1] * 40, GROUPS, freedom_used=(2.0, 3.0, 5.0))
    assert np.isnan(found.tests.filter(pl.col("moment") != "kurtosis")["p"].to_numpy()).all()
