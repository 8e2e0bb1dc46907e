import time

import numpy as np
import pytest
from lms_truth import counted, inside_family, inside_family_at, lms_at, mixture

from pipeline.statistics import lms
from pipeline.statistics.box_cox_cole_green import log_density, value_at_z
from pipeline.statistics.lms import NoConvergence, fit_lms, fit_penalised

PERCENTS = np.array([3, 5, 10, 25, 50, 75, 85, 90, 95, 97])
INNER = np.arange(8, 90)


# Largest and mean error of a percentile in BMI points, over ages 8 to 89; about twice what ten seeds gave.
@pytest.mark.parametrize(
    ("people", "largest", "mean"), [(500, 6.0, 0.8), (5000, 1.6, 0.25), (50_000, 0.6, 0.08)]
)
def test_curves_come_back_from_a_known_truth(people, largest, mean):
    fit = fit_lms(*inside_family(people))
    error = np.abs(fit.value_at(INNER, PERCENTS) - inside_family_at(INNER, PERCENTS))
    assert error.max() < largest
    assert error.mean() < mean
    assert fit.people == people


def test_many_people_cost_no_more_than_their_cells():
    cells = inside_family(640_000)
    fit_lms(*cells)
    started = time.process_time()
    fit = fit_lms(*cells)
    assert time.process_time() - started < 1.0  # of one processor; 0.1 s on the machine it was written on
    l, m, s = fit.lms(INNER)
    true_l, true_m, true_s = lms_at(INNER)
    assert np.max(np.abs(m / true_m - 1)) < 0.01
    assert np.max(np.abs(s / true_s - 1)) < 0.03
    assert np.max(np.abs(l - true_l)) < 0.25


def test_multiplying_every_count_moves_only_the_smoothing():
    age, value, n = inside_family(20_000)
    once, ten = fit_lms(age, value, n), fit_lms(age, value, 10 * n)
    assert np.all(ten.freedom >= once.freedom - 1e-3)  # more people buy more bends, never fewer
    assert ten.people == 10 * once.people


def test_splitting_cells_changes_nothing():
    age, value, n = inside_family(5000)
    split = fit_lms(np.tile(age, 2), np.tile(value, 2), np.concatenate([n // 2, n - n // 2]))
    whole = fit_lms(age, value, n)
    assert split.value_at(INNER, PERCENTS) == pytest.approx(whole.value_at(INNER, PERCENTS), rel=1e-6)


def test_a_change_of_unit_changes_only_m():
    age, value, n = inside_family(5000)
    here, pounds = fit_lms(age, value, n), fit_lms(age, value / 0.45359237, n)
    for one, other, factor in zip(here.lms(INNER), pounds.lms(INNER), (1, 1 / 0.45359237, 1), strict=True):
        assert other == pytest.approx(one * factor, rel=1e-4, abs=1e-4)


def test_percentiles_never_cross_and_both_directions_agree():
    fit = fit_lms(*inside_family(3000, seed=4))
    curves = fit.value_at(INNER, np.arange(1, 100))
    assert np.all(np.diff(curves, axis=1) > 0)
    back = fit.percentile_of(np.repeat(INNER, 99), curves.ravel()).reshape(curves.shape)
    assert back == pytest.approx(np.broadcast_to(np.arange(1, 100), curves.shape), abs=1e-8)


def test_the_smoothing_that_is_chosen_lies_between_a_line_and_an_interpolation():
    fit = fit_lms(*inside_family(50_000))
    assert 1.99 < fit.freedom[0] < 4  # L is constant in truth: at most a gentle bend
    assert 5 < fit.freedom[1] < fit.spline.size  # M bends


def test_the_penalised_likelihood_is_at_its_top():
    age, value, n = mixture(4000)
    fit = fit_lms(age, value, n)
    ages, at = np.unique(age, return_inverse=True)
    design, root = fit.spline.basis(ages), fit.spline.roughness_root()
    people = np.bincount(at, n)
    root = root * np.sqrt(people @ (design**2).sum(axis=1) / np.sum(root**2))

    def objective(beta):
        l, log_m, log_s = beta @ design.T
        likelihood = n @ log_density(np.log(value) - log_m[at], l[at], log_s[at])
        return likelihood - fit.penalties @ ((beta @ root.T) ** 2).sum(axis=1) / 2

    top = objective(fit.coefficients)
    random = np.random.default_rng(1)
    for size in (1e-2, 1e-3):
        for _ in range(20):
            assert objective(fit.coefficients + size * random.standard_normal(fit.coefficients.shape)) < top


def one_in_two_thousand():
    """A draw of six sites from inside the family, on which the penalty of ln S creeps: 0.0005 degrees of freedom a step
    on the way to a straight line, a fifth of the way in 400 steps."""
    random = np.random.default_rng([78, 1159])
    size = np.rint(np.exp(random.normal(np.log(250), 0.6, 6))).astype(int)
    z = [np.sqrt(0.05) * random.standard_normal() + np.sqrt(0.95) * random.standard_normal(n) for n in size]
    age = np.concatenate([random.integers(20, 70, n) for n in size])
    return counted(age, value_at_z(np.concatenate(z), *lms_at(age)))


def test_a_penalty_that_creeps_arrives(monkeypatch):
    cells = one_in_two_thousand()
    fit = fit_lms(*cells)
    assert fit.freedom[2] == pytest.approx(2.35, abs=0.01)
    assert fit.penalties[2] == pytest.approx(1217, rel=0.01)  # after 400 steady steps: 61
    monkeypatch.setattr(lms, "_MOST_STEPS", 5000)
    monkeypatch.setattr(lms, "_STEADY_STEPS", 5000)
    steady = fit_lms(*cells)
    ages = np.arange(20, 70)
    assert fit.value_at(ages, PERCENTS) == pytest.approx(steady.value_at(ages, PERCENTS), rel=2e-4)
    monkeypatch.setattr(lms, "_MOST_STEPS", 400)
    with pytest.raises(NoConvergence):
        fit_lms(*cells)


def test_a_fit_that_settles_never_hurries(monkeypatch):
    settled = [fit_lms(*inside_family(1500, seed=seed)) for seed in range(6)]
    monkeypatch.setattr(lms, "_MOST_STEPS", lms._STEADY_STEPS)
    for seed, fit in enumerate(settled):
        alone = fit_lms(*inside_family(1500, seed=seed))
        assert np.array_equal(alone.coefficients, fit.coefficients)
        assert np.array_equal(alone.covariance, fit.covariance)


def test_hurrying_from_the_first_step_leads_to_the_same_curves(monkeypatch):
    steady = [fit_lms(*inside_family(5000, seed=seed)) for seed in range(6)]
    monkeypatch.setattr(lms, "_STEADY_STEPS", 0)
    for seed, fit in enumerate(steady):
        hurried = fit_lms(*inside_family(5000, seed=seed))
        assert hurried.value_at(INNER, PERCENTS) == pytest.approx(fit.value_at(INNER, PERCENTS), rel=1e-3)
        assert hurried.freedom == pytest.approx(fit.freedom, abs=0.05)


def test_ages_outside_the_fit_have_no_curve():
    fit = fit_lms(*inside_family(3000, ages=(20, 80)))
    assert np.isnan(fit.value_at([19, 80], [50])).all()
    assert np.isfinite(fit.value_at([20, 79], [50])).all()
    assert np.isnan(fit.z_score([19], [22.0])).all()
    assert np.isnan(fit.z_score([30, np.nan, 40], [22.0, 22, 22])).tolist() == [False, True, False]


def test_cells_without_people_do_not_count():
    age, value, n = inside_family(3000)
    more = fit_lms(np.append(age, 40), np.append(value, 1e6), np.append(n, 0))
    assert more.value_at(INNER, PERCENTS) == pytest.approx(
        fit_lms(age, value, n).value_at(INNER, PERCENTS), rel=1e-9
    )


def test_a_fit_without_penalty_on_a_constant_has_no_smoothing():
    age, value, n = inside_family(3000)
    beta, penalties, freedom, *_ = fit_penalised(
        np.ones((1, 1)), np.zeros((1, 1)), np.zeros(age.size, dtype=int), np.log(value), n
    )
    assert beta.shape == (3, 1)
    assert penalties.tolist() == [0, 0, 0]
    assert freedom == pytest.approx([1, 1, 1], abs=1e-6)


@pytest.mark.parametrize(
    ("value", "n", "message"),
    [
        ([20, 0, 22, 23, 24], [1] * 5, "a value of 0: the Box-Cox family needs values above 0"),
        ([20, 21, 22, 23, 24], [1, 1, 1, 1, -1], "a count of -1"),
        ([20, 21, 22, 23, 24], [1, 1, 1, 0, 0], "3 different ages: a curve needs 4 or more"),
    ],
)
def test_cells_that_cannot_be_fitted_are_refused(value, n, message):
    with pytest.raises(ValueError, match=message):
        fit_lms([20, 30, 40, 50, 60], value, n)


def test_a_fit_leaves_the_threads_of_linear_algebra_as_they_were():
    from threadpoolctl import threadpool_info

    before = [(pool["filepath"], pool["num_threads"]) for pool in threadpool_info()]
    fit_lms(*inside_family(3000))
    assert [(pool["filepath"], pool["num_threads"]) for pool in threadpool_info()] == before
