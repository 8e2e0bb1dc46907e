import numpy as np
import pytest
from lms_truth import counted, inside_family, lms_at

from pipeline.statistics.box_cox_cole_green import value_at_z
from pipeline.statistics.lms import fit_lms
from pipeline.statistics.lms_band import percentile_band, sandwich_covariance, site_part

PERCENTS = np.array([5, 50, 95])
INNER = np.arange(20, 76, 5)


def sites_of(random, sites=24, people=150, between=0.05):
    """Invented sites whose people are all a little heavier, or lighter, than people elsewhere."""
    found = []
    for _ in range(sites):
        age = random.integers(10, 85, people)
        value = value_at_z(random.standard_normal(people), *lms_at(age)) * np.exp(
            between * random.standard_normal()
        )
        found.append(counted(age, value))
    return found


def everybody_at(random, between=0.05):
    """Percentiles of all people at all possible sites, by a large draw: sites' differences widen the spread."""
    z, site = random.standard_normal((2, 400_000))
    return np.array(
        [np.percentile(value_at_z(z, *lms_at(age)) * np.exp(between * site), PERCENTS) for age in INNER]
    )


def fitted(sites):
    fit = fit_lms(*(np.concatenate([site[i] for site in sites]) for i in range(3)))
    return fit, *sandwich_covariance(fit, [site_part(fit, *site) for site in sites])


# 95 % bands of invented programmes of 24 sites: bands over sites hold the true curves as often as they say (94.9 % of
# 150 programmes), bands that take people as independent do not (71.5 %).
def test_bands_over_sites_hold_the_truth_and_bands_over_people_do_not():
    random = np.random.default_rng(21)
    truth = everybody_at(random)
    over_sites, over_people = [], []
    for _ in range(70):
        fit, covariance, freedom = fitted(sites_of(random))
        for covered, matrix in ((over_sites, covariance), (over_people, fit.covariance)):
            low, high = percentile_band(fit, matrix, INNER, PERCENTS, freedom)
            covered.append(((low <= truth) & (truth <= high)).mean())
    assert 0.90 < np.mean(over_sites) < 0.98
    assert np.mean(over_people) < np.mean(over_sites) - 0.15


def test_site_scores_add_to_the_pull_of_the_penalty():
    sites = sites_of(np.random.default_rng(1), sites=5)
    fit, *_ = fitted(sites)
    whole = site_part(fit, *(np.concatenate([site[i] for site in sites]) for i in range(3))).score
    assert sum(site_part(fit, *site).score for site in sites) == pytest.approx(whole, abs=1e-6)
    null = np.concatenate(
        [[1.0] * fit.spline.size, [0.0] * 2 * fit.spline.size]
    )  # a constant L is not penalised
    assert abs(null @ whole) < 0.05


# The slopes of the delta method against the curve of a fit whose coefficients are moved a little.
@pytest.mark.parametrize("shift", [0.0, 0.6])
def test_a_direction_of_the_coefficients_moves_the_curve_as_the_band_says(shift):
    fit = fit_lms(*inside_family(3000))
    fit.coefficients[0] += shift  # −0.6 + 0.6: also where L is near 0
    before = fit.value_at(INNER, PERCENTS)
    for k in range(3):
        direction = np.zeros(fit.coefficients.shape)
        direction[k] = 1e-4
        _, high = percentile_band(
            fit, np.outer(direction, direction), INNER, PERCENTS, confidence=0.6826894921370859
        )
        fit.coefficients[k] += 1e-4
        moved = np.abs(np.log(fit.value_at(INNER, PERCENTS) / before))
        fit.coefficients[k] -= 1e-4
        assert np.log(high / before) == pytest.approx(moved, rel=2e-3, abs=1e-9)


def test_ages_outside_the_fit_have_no_band_and_cells_there_do_not_count():
    fit = fit_lms(*inside_family(3000, ages=(20, 80)))
    low, high = percentile_band(fit, fit.covariance, [19, 50], [50])
    assert np.isnan([low[0], high[0]]).all()
    assert low[1] < fit.value_at([50], [50])[0] < high[1]
    assert site_part(fit, [10], [15.0], [3]).score.tolist() == [0] * 3 * fit.spline.size


# The sites' information adds up to the fit's: V·H·V is then what the fit's own covariance holds without its penalty.
def test_people_dealt_out_at_random_have_the_bayesian_covariance_of_the_fit():
    random = np.random.default_rng(3)
    cells = inside_family(20_000)
    age, value, n = (np.repeat(part, cells[2]) for part in (*cells[:2], np.ones(cells[2].size)))
    site = random.integers(200, size=age.size)
    fit = fit_lms(*cells)
    covariance, freedom = sandwich_covariance(
        fit, [site_part(fit, age[site == k], value[site == k], n[site == k]) for k in range(200)]
    )
    design = np.kron([0, 1, 0], fit.spline.basis(INNER))  # ln M
    ratio = np.einsum("aj,jk,ak->a", design, covariance, design) / np.einsum(
        "aj,jk,ak->a", design, fit.covariance, design
    )
    assert ratio == pytest.approx(1, abs=0.25)
    assert 150 < freedom < 199


def test_a_site_with_half_of_the_people_leaves_few_degrees_of_freedom_and_a_wide_band():
    random = np.random.default_rng(8)
    alike = sites_of(random, sites=40, people=150)
    large = tuple(np.concatenate(parts) for parts in zip(*sites_of(random, sites=1, people=3000), strict=True))
    width = []
    for sites in (alike, [large, *alike[:20]]):
        fit, covariance, freedom = fitted(sites)
        low, high = percentile_band(fit, covariance, INNER, PERCENTS, freedom)
        width.append(np.mean(np.log(high / low)))
    assert 2 < freedom < 4  # of the second programme, 21 sites
    assert width[1] > 1.5 * width[0]


def test_one_site_has_no_spread_between_sites():
    fit = fit_lms(*inside_family(1000))
    with pytest.raises(ValueError, match="1 site"):
        sandwich_covariance(fit, [site_part(fit, *inside_family(1000))])
