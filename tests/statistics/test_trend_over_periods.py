import numpy as np
import pytest

from pipeline.statistics.trend import trend_over_periods


def programme(random, sites=24, slope=0.0, strata=1, unequal=0.9):
    """Invented sites of unequal size, each with its own level and its own small trend about the common one."""
    site, period, stratum = (
        a.ravel() for a in np.meshgrid(range(sites), range(8), range(strata), indexing="ij")
    )
    size = np.exp(random.normal(4.3, unequal, sites))[site] + 5
    level, own = random.normal(0, 0.4, sites)[site], random.normal(0, 0.05, sites)[site]
    people = random.poisson(size / strata) + 1
    share = 1 / (1 + np.exp(0.8 - level - (slope + own) * period))
    return random.binomial(people, share), people, period, site, stratum


# Nominal 5 %; 400 replicates, so 3.3 points are three standard errors. With 1,500 replicates 4.5 to 6.7 % were rejected
# at 8, 24 and 60 sites, of even and of very uneven size.
@pytest.mark.parametrize("sites", [8, 24])
def test_no_trend_is_rejected_about_once_in_twenty(sites):
    random = np.random.default_rng(sites)
    rejected = np.mean([trend_over_periods(*programme(random, sites)[:4]).p < 0.05 for _ in range(400)])
    assert 0.02 < rejected < 0.085


def test_a_trend_is_found_and_its_interval_holds_it():
    random = np.random.default_rng(5)
    found = [trend_over_periods(*programme(random, slope=0.1, unequal=0.3)) for _ in range(100)]
    assert np.mean([f.p < 0.05 for f in found]) > 0.95
    assert np.mean([f.low < np.exp(0.1) < f.high for f in found]) > 0.88
    assert found[0].points_a_period == pytest.approx(0.02, abs=0.01)


def test_alike_sites_have_sites_less_one_degrees_and_a_giant_leaves_few():
    count, people = np.tile([30, 33, 36, 39], 6), np.full(24, 100)
    period, site = np.tile(range(4), 6), np.repeat(range(6), 4)
    assert trend_over_periods(count + site, people, period, site).freedom == pytest.approx(5, abs=0.05)
    giant = np.where(site == 0, 100, 1)
    assert trend_over_periods(count * giant + site, people * giant, period, site).freedom < 1.5


def test_relabelling_sites_and_strata_changes_nothing():
    count, people, period, site, stratum = programme(np.random.default_rng(2), sites=6, strata=3)
    plain = trend_over_periods(count, people, period, site, stratum)
    named = trend_over_periods(
        count, people, period + 2020, np.array(list("fedcba"))[site], np.array(list("zxy"))[stratum]
    )
    for field in ("slope", "standard_error", "freedom", "p", "odds_ratio", "points_a_period"):
        assert getattr(named, field) == pytest.approx(getattr(plain, field), rel=1e-7)


def test_strata_keep_a_change_of_ages_from_looking_like_a_trend():
    period, stratum, site = (a.ravel() for a in np.meshgrid(range(6), range(2), range(8), indexing="ij"))
    people = np.where(stratum == 0, 120 - 20 * period, 20 + 20 * period) * 5  # the older become more,
    count = np.where(stratum == 0, people // 5, people * 3 // 5)  # three times as often in the band
    assert trend_over_periods(count, people, period, site).slope > 0.1
    found = trend_over_periods(count, people, period, site, stratum)
    assert found.slope == pytest.approx(0, abs=1e-9)
    assert np.isnan(found.p)  # sites exactly alike


def test_cells_and_strata_that_tell_nothing_are_left_out():
    count, people, period, site, stratum = programme(np.random.default_rng(3), sites=5)
    plain = trend_over_periods(count, people, period, site, stratum)
    more = trend_over_periods(
        *(
            np.append(a, b)
            for a, b in zip(
                (count, people, period, site, stratum),
                ([0, 0, 9], [0, 7, 9], [3, 3, 4], [1, 1, 2], [0, 1, 2]),
                strict=True,
            )
        )
    )
    assert more.slope == pytest.approx(plain.slope, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"count": [11, 3, 2, 5]}, "cell 0: 11 in the band of 10"),
        ({"site": [1, 1, 1, 1]}, "1 sites and 2 periods"),
        ({"period": [1, 1, 1, 1]}, "2 sites and 1 periods"),
        ({"count": [0, 0, 0, 0]}, "0 sites and 0 periods"),
        ({"count": [0, 10, 0, 10]}, "no finite trend"),
    ],
)
def test_cells_without_a_trend_are_refused(change, message):
    cells = {
        "count": [4, 3, 2, 5],
        "people": [10] * 4,
        "period": [1, 2, 1, 2],
        "site": [1, 1, 2, 2],
        **change,
    }
    with pytest.raises(ValueError, match=message):
        trend_over_periods(**cells)
