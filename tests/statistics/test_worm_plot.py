import numpy as np
import polars as pl
import pytest
from scipy.stats import norm

from pipeline.statistics.worm_plot import SCORES, worm_plot

GROUPS = [(20, 29), (30, 39)]


def test_exact_normal_scores_make_a_flat_worm():
    z = norm.ppf((np.arange(2000) + 0.5) / 2000)
    worm = worm_plot(np.full(2000, 25), z, np.ones(2000), GROUPS)
    assert worm["score"].to_list() == SCORES.tolist()
    assert worm["deviation"].to_numpy() == pytest.approx(np.zeros(SCORES.size), abs=1e-9)


def test_a_shift_lifts_the_worm_and_a_spread_tilts_it():
    z = norm.ppf((np.arange(2000) + 0.5) / 2000)
    worm = worm_plot(np.repeat([25, 35], 2000), np.concatenate([z + 0.2, z * 1.1]), np.ones(4000), GROUPS)
    assert worm.filter(pl.col("age_from") == 20)["deviation"].to_numpy() == pytest.approx(0.2, abs=1e-9)
    assert worm.filter(pl.col("age_from") == 30)["deviation"].to_numpy() == pytest.approx(
        0.1 * SCORES, abs=1e-9
    )


def test_the_band_is_the_standard_error_of_an_order_statistic():
    middle = worm_plot([25] * 400, norm.ppf((np.arange(400) + 0.5) / 400), [1] * 400, GROUPS).row(
        by_predicate=pl.col("score") == 0, named=True
    )
    expected = 1.959963984540054 * np.sqrt(0.25 / 400) / norm.pdf(0)
    assert (middle["low"], middle["high"]) == pytest.approx((-expected, expected))


def test_95_of_100_points_of_a_good_fit_lie_in_the_band():
    random = np.random.default_rng(8)
    inside = []
    for _ in range(400):
        worm = worm_plot(np.full(300, 25), random.standard_normal(300), np.ones(300), GROUPS)
        inside.append(worm.select(pl.col("deviation").is_between("low", "high")).to_series().mean())
    assert np.mean(inside) == pytest.approx(0.95, abs=0.02)


def test_value_counts_and_single_people_give_the_same_points():
    z = np.random.default_rng(2).standard_normal(500).round(1)
    value, n = np.unique(z, return_counts=True)
    counted = worm_plot(np.full(value.size, 25), value, n, GROUPS)
    assert counted.filter(pl.col("score") == 0)["deviation"].item() == pytest.approx(np.median(z), abs=0.1)


def test_a_score_beyond_the_sample_and_a_group_without_people_have_no_row():
    worm = worm_plot([25] * 10, np.linspace(-1, 1, 10), [1] * 10, GROUPS)
    assert worm["age_from"].unique().to_list() == [20]
    assert worm["score"].max() == 1.5  # the largest of ten stands at the 95th percentile, 1.64
