import pytest
from lms_truth import inside_family, inside_family_at

from pipeline.statistics.curve_coverage import share_below
from pipeline.statistics.proportion_interval import wilson_interval

GROUPS = [(20, 39), (40, 59)]


def test_the_share_below_a_true_curve_is_its_percent():
    age, value, n = inside_family(200_000)
    found = share_below(age, value, n, inside_family_at(age, [5, 50, 95]), [5, 50, 95], GROUPS, step=0.1)
    assert found["percent"].to_list() == [5, 50, 95] * 2
    assert found["observed"].to_numpy() == pytest.approx(found["expected"].to_numpy(), abs=0.006)
    assert n[(age >= 20) & (age <= 39)].sum() == found["n"][0]


@pytest.mark.parametrize(("curve", "below"), [(19.95, 0), (20.0, 2), (20.025, 3), (20.05, 4), (21, 4)])
def test_a_curve_through_a_print_step_counts_the_part_of_the_step_below_it(curve, below):
    row = share_below([25, 25], [20.0, 30.0], [4, 6], [[curve], [curve]], [50], GROUPS, step=0.1).row(
        0, named=True
    )
    assert row["observed"] == pytest.approx(below / 10)
    low, high = wilson_interval([below], [10])
    assert (row["low"], row["high"]) == pytest.approx((low[0], high[0]), abs=1e-12)


def test_an_age_group_without_people_has_no_rows():
    found = share_below([25], [20.0], [4], [[21.0]], [50], GROUPS, step=0.1)
    assert found["age_from"].to_list() == [20]


def test_a_step_that_is_not_above_0_is_refused():
    with pytest.raises(ValueError, match="a print step of 0"):
        share_below([25], [20.0], [4], [[21.0]], [50], GROUPS, step=0)
