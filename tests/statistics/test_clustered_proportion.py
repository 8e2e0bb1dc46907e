import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.clustered_proportion import (
    clustered_proportion,
    effective_freedom,
    jackknifed_proportion,
    korn_graubard_interval,
)
from pipeline.statistics.proportion_interval import clopper_pearson_interval

SITE = st.integers(0, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
SITES = st.lists(SITE, min_size=2, max_size=12)


def test_a_cell_with_one_site_or_nobody_has_no_interval():
    cells = clustered_proportion([[3, 0], [0, 0]], [[10, 0], [0, 0]])
    assert cells.proportion[0] == 0.3
    assert np.isnan(cells.proportion[1])
    assert np.isnan(cells.variance).all()
    assert np.isnan(cells.effective_people[0])
    assert all(np.isnan(limit).all() for limit in korn_graubard_interval(cells))


def test_a_site_with_nobody_in_the_cell_is_no_cluster():
    with_empty, without = clustered_proportion([3, 5, 0], [10, 12, 0]), clustered_proportion([3, 5], [10, 12])
    assert with_empty.variance == without.variance
    assert with_empty.freedom == without.freedom == 1


def test_nobody_in_the_band_has_the_exact_interval_at_fewer_degrees():
    cells = clustered_proportion([0] * 6, [50] * 6)
    low, high = korn_graubard_interval(cells)
    assert np.isnan(cells.design_effect[0])
    assert cells.effective_people[0] == 300
    assert low[0] == 0
    assert high[0] > clopper_pearson_interval([0], [300])[1][0]  # few sites: t on 5 degrees


@given(SITES)
def test_clustering_never_narrows_the_exact_interval(sites):
    count, people = np.array(sites).T
    low, high = korn_graubard_interval(clustered_proportion(count, people))
    if np.isfinite(low[0]):
        exact_low, exact_high = clopper_pearson_interval([count.sum()], [people.sum()])
        assert low[0] <= exact_low[0] + 1e-9
        assert high[0] >= exact_high[0] - 1e-9


@given(SITES, st.randoms())
def test_relabelling_sites_changes_nothing(sites, random):
    shuffled = list(sites)
    random.shuffle(shuffled)
    one, other = (korn_graubard_interval(clustered_proportion(*np.array(s).T)) for s in (sites, shuffled))
    assert np.ravel(one) == pytest.approx(np.ravel(other), abs=1e-9, nan_ok=True)


def test_the_jackknife_is_what_leaving_out_each_site_does_to_the_proportion():
    count, people = np.array([12, 30, 9, 22, 41]), np.array([80, 120, 75, 100, 125])
    p = count.sum() / people.sum()
    without = [
        (count.sum() - x) / (people.sum() - n) for x, n in zip(count, people, strict=True)
    ]
    found = jackknifed_proportion(count, people)
    assert found.variance[0] == pytest.approx(4 / 5 * sum((q - p) ** 2 for q in without), rel=1e-12)
    assert found.design_effect[0] == pytest.approx(found.variance[0] / (p * (1 - p) / 500), rel=1e-12)


@given(st.lists(st.integers(0, 40), min_size=2, max_size=12))
def test_with_sites_alike_in_size_the_jackknife_is_taylors(counts):
    jackknife, taylor = (f(counts, [40] * len(counts)) for f in (jackknifed_proportion, clustered_proportion))
    assert jackknife.variance == pytest.approx(taylor.variance, abs=1e-12)
    assert jackknife.freedom == pytest.approx(taylor.freedom, rel=1e-12)


def test_one_large_site_leaves_few_degrees_of_freedom_and_a_site_alone_none():
    assert effective_freedom([[100, 100, 100], [1000, 1, 1]]).tolist() == pytest.approx([2.0, 1.0])
    with_empty, alone = jackknifed_proportion([3, 5, 0], [10, 12, 0]), jackknifed_proportion([3, 0], [10, 0])
    assert with_empty.variance == jackknifed_proportion([3, 5], [10, 12]).variance
    assert np.isnan(alone.variance[0])
    assert alone.freedom[0] == 0


def test_a_count_that_passes_its_site_is_refused():
    with pytest.raises(ValueError, match="cell 0, site 1: 9 in the band of 8 measured"):
        clustered_proportion([3, 9], [10, 8])
