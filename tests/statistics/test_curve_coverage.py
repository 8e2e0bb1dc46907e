import pytest
from lms_truth import inside_family, inside_family_at

from pipeline.statistics.curve_coverage import people_below, share_below
from pipeline.statistics.proportion_interval import wilson_interval
from pipeline.statistics.published_proportion import proportions_of_all

GROUPS = [(20, 39), (40, 59)]


def shares(age, value, n, curves, percents, step=0.1):
    return share_below([people_below(age, value, n, curves, GROUPS, step)], percents, GROUPS)


def test_the_share_below_a_true_curve_is_its_percent():
    age, value, n = inside_family(200_000)
    found = shares(age, value, n, inside_family_at(age, [5, 50, 95]), [5, 50, 95])
    assert found["percent"].to_list() == [5, 50, 95] * 2
    assert found["observed"].to_numpy() == pytest.approx(found["expected"].to_numpy(), abs=0.006)
    assert n[(age >= 20) & (age <= 39)].sum() == found["n"][0]


@pytest.mark.parametrize(("curve", "below"), [(19.95, 0), (20.0, 2), (20.025, 3), (20.05, 4), (21, 4)])
def test_a_curve_through_a_print_step_counts_the_part_of_the_step_below_it(curve, below):
    row = shares([25, 25], [20.0, 30.0], [4, 6], [[curve], [curve]], [50]).row(0, named=True)
    assert row["observed"] == pytest.approx(below / 10)
    low, high = wilson_interval([below], [10])
    assert (row["low"], row["high"]) == pytest.approx((low[0], high[0]), abs=1e-12)


def test_people_of_several_sites_have_the_interval_of_all_sites_together():
    """Three sites of 40, with 5, 20 and 35 people below: far less alike than people drawn one by one."""
    sites = [people_below([25, 25], [20, 30], [k, 40 - k], [[25.0]] * 2, GROUPS, 0.1) for k in (5, 20, 35)]
    row = share_below(sites, [50], GROUPS).row(0, named=True)
    expected = proportions_of_all([[5, 20, 35]], [[40, 40, 40]]).row(0, named=True)
    assert (row["n"], row["observed"]) == (120, 0.5)
    assert (row["low"], row["high"]) == pytest.approx((expected["low"], expected["high"]), abs=1e-12)
    assert row["high"] - row["low"] > 2 * (wilson_interval([60], [120])[1][0] - 0.5)


def test_an_age_group_without_people_has_no_rows():
    found = shares([25], [20.0], [4], [[21.0]], [50])
    assert found["age_from"].to_list() == [20]


def test_a_step_that_is_not_above_0_is_refused():
    with pytest.raises(ValueError, match="a print step of 0"):
        shares([25], [20.0], [4], [[21.0]], [50], step=0)
