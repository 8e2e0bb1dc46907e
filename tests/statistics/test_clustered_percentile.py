"""Percentiles of all sites together, whose limits know that people come in sites."""

import numpy as np
import polars as pl
import pytest
from scipy.stats import t

from pipeline.measures import MEASURES
from pipeline.statistics.clustered_percentile import SitesBelow
from pipeline.statistics.percentile import METHOD, people_below, percentile_rows, percentiles_of

GROUPS = [(20, 29), (20, 99)]
PERCENTS = [25, 50, 75]


def tally_of(values, age=25):
    """Women's weights in print steps, one quarter."""
    steps, n = np.unique(values, return_counts=True)
    return pl.DataFrame(
        {"period": "2025Q1", "sex": "female", "age": age, "measure": "weight", "value": steps, "n": n},
        schema_overrides={"age": pl.Int16, "value": pl.Int32, "n": pl.Int64},
    )


def of(tally, site=None):
    tally = tally if site is None else tally.with_columns(site=pl.lit(site))
    return percentiles_of(tally, [MEASURES["weight"]], GROUPS, PERCENTS)


def of_all(sites):
    """Rows of all sites, each a list of weights in print steps; and rows as if nobody came in sites."""
    whole = of(pl.concat([tally_of(site) for site in sites]))
    named = pl.concat([tally_of(site).with_columns(site=pl.lit(f"site {i}")) for i, site in enumerate(sites)])
    below, people = people_below(whole, of(named))
    return percentile_rows(whole, sites=SitesBelow(below, people)), percentile_rows(whole)


def test_people_below_are_counted_for_each_population_of_all_sites():
    whole = of(pl.concat([tally_of(range(600, 700)), tally_of(range(500, 600), age=45)]))
    [below], [people] = people_below(whole, of(tally_of([500, 612, 650, 699]), "a"))
    groups = whole.populations.select("sex", "age_from", "age_to").rows()
    at = {group: i for i, group in enumerate(groups)}
    assert people[at["female", 20, 29]] == people[at["female", 20, 99]] == 4
    assert below[at["female", 20, 29]].tolist() == [2, 2, 3]  # at or below 62.475, 64.95 and 67.425 kg
    assert below[at["female", 20, 99]].tolist() == [1, 1, 2]


def test_sites_counted_together_have_the_percentiles_of_each_alone():
    random = np.random.default_rng(3)
    tallies = {name: tally_of(random.integers(500, 900, n)) for name, n in (("a", 40), ("b", 1), ("c", 200))}
    together = percentile_rows(of(pl.concat([t.with_columns(site=pl.lit(name)) for name, t in tallies.items()])))
    for name, tally in tallies.items():
        assert together.filter(site=name).equals(percentile_rows(of(tally, name)))


def test_sites_that_differ_widen_the_limits_and_are_named_in_the_method():
    random = np.random.default_rng(2)
    sites = [(700 + shift + random.integers(-40, 41, 150)) for shift in (-12, -6, 0, 6, 12)]
    clustered, plain = of_all(sites)
    assert clustered["value"].to_list() == plain["value"].to_list()
    median = pl.col("percentile") == 50
    wide, narrow = (rows.filter(median, age_from=20, age_to=29, sex="female").row(0, named=True)
                    for rows in (clustered, plain))  # fmt: skip
    assert wide["low"] < narrow["low"] < narrow["high"] < wide["high"]
    assert wide["method"] == f"{METHOD}, 5 sites as clusters"
    assert narrow["method"] == METHOD


def test_sites_exactly_alike_lose_only_what_few_sites_cost():
    sites = SitesBelow([np.array([[50]])] * 6, [np.array([100])] * 6)
    expected = 600 * (t.ppf(0.975, 599) / t.ppf(0.975, 5)) ** 2
    assert sites.effective_people([50])[0, 0] == pytest.approx(expected, rel=1e-9)
    assert sites.clusters.tolist() == [6]


def test_one_site_has_the_limits_of_people_counted_one_by_one():
    alone = SitesBelow([np.array([[50]]), np.array([[0]])], [np.array([100]), np.array([0])])
    assert alone.effective_people([50])[0, 0] == 100
    clustered, plain = of_all([range(600, 700)])
    assert clustered.equals(plain)


def test_limits_near_the_ends_are_left_out_where_sites_make_them_wider_than_n_tells():
    whole = of(tally_of(range(500, 700)))
    sites = SitesBelow([np.array([[70, 90, 99]] * 4), np.array([[0, 10, 51]] * 4)], [np.full(4, 100)] * 2)
    rows = percentile_rows(whole, sites=sites, least_beyond=10)
    assert rows["low"].null_count() == rows.height
    assert rows["value"].null_count() == 0
