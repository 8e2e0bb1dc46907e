"""The simulations behind docs/recovery.md, in small: what they draw is what they say, and what they count is right."""

from __future__ import annotations

import importlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"


@pytest.fixture
def benchmark(monkeypatch):
    monkeypatch.syspath_prepend(BENCHMARKS)
    return importlib.import_module


def test_coverage_counts_each_side_and_takes_the_error_over_replicates(benchmark):
    covering = benchmark("coverage_table").covering
    low = np.array([[0.1, 0.3], [0.1, np.nan], [0.5, 0.1]])
    high = np.array([[0.4, 0.4], [0.2, np.nan], [0.6, np.nan]])
    row = covering("an interval", "a setting", low, high, 0.25)
    # five intervals: two hold it (one has no upper limit), two lie above the truth and one below it
    assert (row.replicates, row.covered) == (3, pytest.approx(40))
    assert (row.below, row.above) == (pytest.approx(40), pytest.approx(20))
    assert row.error == pytest.approx(100 * np.std([0.5, 1.0, 0.5], ddof=1) / np.sqrt(3))


@pytest.mark.parametrize(
    ("covered", "error", "verdict"),
    [(93.0, 0.49, "short"), (93.0, 0.51, "holds"), (99.0, 0.51, "holds"), (99.0, 0.49, "wide")],
)
def test_a_verdict_needs_more_than_the_error_of_the_simulation(benchmark, covered, error, verdict):
    assert benchmark("coverage_table").Row("i", "s", 1000, covered, error, 0, 0).verdict == verdict


def test_a_table_can_be_read_back(benchmark):
    module = benchmark("coverage_table")
    row = module.covering("an interval", "24 sites; 25 %", [0.1] * 30 + [0.3] * 10, [0.4] * 40, 0.2)
    (found,) = module.rows_in("# A page\n\n" + module.table([row]))
    assert (found["interval"], found["setting"], found["covers %"]) == ("an interval", "24 sites; 25 %", "75.0")


def test_people_of_a_site_are_as_alike_as_the_setting_says(benchmark):
    module, random = benchmark("clustered_people"), np.random.default_rng(1)
    own = module.site_shares(random, 0.25, 0.1, (40_000,))
    assert own.mean() == pytest.approx(0.25, abs=0.003)
    assert own.var() / (0.25 * 0.75) == pytest.approx(0.1, rel=0.03)
    pairs = np.array(module.site_normals(random, 0.3, np.full(40_000, 2)))
    assert np.corrcoef(pairs.T)[0, 1] == pytest.approx(0.3, abs=0.02)
    sizes = module.site_sizes(random, (5, 24), 100, 0.6, largest=0.5)
    assert sizes[:, 0] / sizes.sum(axis=1) == pytest.approx(0.5, abs=0.01)


def test_the_mixture_has_the_percentiles_it_says(benchmark):
    module = benchmark("known_curves")
    age = np.full(200_000, 40.0)
    value = module.MIXTURE.value_at(np.random.default_rng(2).standard_normal(age.size), age)
    percents = [3, 10, 50, 90, 97]
    assert np.percentile(value, percents) == pytest.approx(module.MIXTURE.curves([40], percents)[0], abs=0.06)
    assert (value > 30.66).mean() == pytest.approx(0.2, abs=0.01)  # the upper hump, 66 hundredths later at 40


def test_shares_of_a_trend_are_those_of_the_logistic_model(benchmark):
    module = benchmark("coverage_of_trends")
    scenario = replace(module.SCENARIOS[2], sites=400, people=100, seen=1.0)
    count, people, period, _, stratum = module._cells(scenario, np.random.default_rng(3))
    for at in (0, 7):
        here = (period == at) & (stratum == 2)
        level = np.log(0.25 / 0.75) + np.linspace(-0.5, 0.5, 4)[2] + module.SLOPE * (at - 3.5)
        assert count[here].sum() / people[here].sum() == pytest.approx(1 / (1 + np.exp(-level)), abs=0.02)


# Twenty replicates of one scenario of each script: it runs, and coverage is nowhere near that of a wrong truth.
@pytest.mark.parametrize(
    ("name", "of", "scenarios"),
    [
        ("coverage_of_proportions", "one_site", "ONE_SITE"),
        ("coverage_of_proportions", "all_sites", "ALL_SITES"),
        ("coverage_of_standardised", "one_site", "ONE_SITE"),
        ("coverage_of_standardised", "all_sites", "ALL_SITES"),
        ("coverage_of_percentiles", "simulate", "ALL_SITES"),
        ("coverage_of_sites", "simulate", "SCENARIOS"),
        ("coverage_of_trends", "simulate", "SCENARIOS"),
        ("coverage_of_curves", "simulate", "SCENARIOS"),
        ("coverage_of_quantile_curves", "simulate", "SCENARIOS"),
    ],
)
def test_each_script_finds_intervals_that_hold(benchmark, monkeypatch, name, of, scenarios):
    module = benchmark(name)
    scenario = getattr(module, scenarios)[1]
    if hasattr(scenario, "replicates"):
        scenario = replace(scenario, replicates=20)
    else:
        monkeypatch.setattr(module, "REPLICATES", 20)
    rows = getattr(module, of)(scenario, np.random.default_rng(7))
    published = [row for row in rows if "not published" not in row.interval]
    assert published and all(row.covered >= 75 for row in published)


def test_curves_recovered_are_nearer_than_raw_percentiles(benchmark, monkeypatch):
    module = benchmark("recovery_of_curves")
    monkeypatch.setitem(module.REPLICATES, 5_000, 3)
    found = module.simulate(module.Scenario(module.INSIDE, 5_000), np.random.default_rng(1))
    assert found.methods == ["lms"] * 3
    assert np.sqrt(np.mean(found.published**2)) < np.sqrt(np.nanmean(found.raw**2)) / 2
    assert "| inside" in module.errors([found]) and "100.0 %" in module.choices([found])
