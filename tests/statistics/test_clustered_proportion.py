import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.clustered_proportion import clustered_proportion, korn_graubard_interval
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


def test_a_count_that_passes_its_site_is_refused():
    with pytest.raises(ValueError, match="cell 0, site 1: 9 in the band of 8 measured"):
        clustered_proportion([3, 9], [10, 8])
