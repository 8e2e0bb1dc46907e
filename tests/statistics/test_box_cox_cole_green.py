import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from pipeline.statistics.box_cox_cole_green import information, log_density, scores, value_at_z, z_score

POWERS = st.floats(-2.5, 2.5)


@given(st.floats(-3, 3), POWERS, st.floats(1, 500), st.floats(0.02, 0.15))
@example(-3.0, 2.5, 25.0, 0.13)  # 1 + L·S·z = 0.025: just inside the family
def test_value_and_z_score_are_each_others_inverse(z, l, m, s):
    assume(1 + l * s * z > 0.01)  # at 0 and below there is no such value; near it, few digits are left
    value = value_at_z(z, l, m, s)
    assert np.all(value > 0)
    assert z_score(value, l, m, s) == pytest.approx(z, abs=1e-8)


def test_nothing_jumps_where_the_closed_form_hands_over_to_the_series():
    for just_below, just_above in ((0.99999e-4, 1.00001e-4), (-1.00001e-4, -0.99999e-4), (-1e-300, 1e-300)):
        for f in (
            lambda l: z_score(31.0, l, 25.0, 0.15),
            lambda l: value_at_z(2.2, l, 25.0, 0.15),
            lambda l: scores(np.log([1.3]), np.array([l]), np.log([0.15]))[0][0],
        ):
            assert f(just_below) == pytest.approx(f(just_above), abs=1e-7)


def test_a_value_beyond_the_family_is_nan():
    assert np.isnan(value_at_z(5.0, -2.5, 25, 0.1))  # 1 + L·S·z = −0.25
    assert np.isfinite(value_at_z(3.9, -2.5, 25, 0.1))


def test_missing_stays_missing():
    assert np.isnan(z_score(np.nan, -1, 25, 0.1))
    assert np.isnan(value_at_z(np.nan, -1, 25, 0.1))


@pytest.mark.parametrize(
    ("value", "m", "s", "named"), [(0, 25, 0.1, "value"), (20, -1, 0.1, "M"), (20, 25, 0, "S")]
)
def test_a_value_or_parameter_that_is_not_above_0_is_refused(value, m, s, named):
    with pytest.raises(ValueError, match=f"{named} of .* above 0"):
        z_score(value, -1, m, s)


@given(st.floats(-0.6, 0.6), POWERS, st.floats(-3, -1.5))
def test_scores_are_the_slopes_of_the_log_density(log_ratio, l, log_s):
    x, l, log_s = (np.array([a]) for a in (log_ratio, l, log_s))
    found = [score[0] for score in scores(x, l, log_s)]
    h = 1e-5
    numeric = [
        (log_density(x, l + h, log_s) - log_density(x, l - h, log_s)) / (2 * h),
        (log_density(x - h, l, log_s) - log_density(x + h, l, log_s))
        / (2 * h),  # ln M up is ln(value/M) down
        (log_density(x, l, log_s + h) - log_density(x, l, log_s - h)) / (2 * h),
    ]
    for one, other in zip(found, numeric, strict=True):
        assert one == pytest.approx(other[0], rel=1e-5, abs=1e-4 * (1 + np.max(np.abs(found))))


@pytest.mark.parametrize("l", [-1.5, -0.5, 0.0, 1.0])
def test_information_is_the_variance_of_the_scores(l):
    z, s = np.random.default_rng(3).standard_normal(400_000), 0.15
    log_ratio = np.log(value_at_z(z, l, 1.0, s))
    found = np.cov(np.array(scores(log_ratio, np.full(z.size, l), np.full(z.size, np.log(s)))))
    expected = information(np.array([l]), np.array([np.log(s)]))[:, :, 0]
    scale = np.sqrt(np.outer(np.diag(expected), np.diag(expected)))
    assert np.max(np.abs(found - expected) / scale) < 0.03  # 400,000 draws


# Cole & Green (1992), appendix, to the leading order in L·S, on the scales of ln M and ln S.
@pytest.mark.parametrize("l", [-1.5, 0.0, 0.8])
def test_information_has_the_published_leading_order(l):
    s = 0.005
    found = information(np.array([l]), np.array([np.log(s)]))[:, :, 0]
    leading = np.array([[1.75 * s**2, -0.5, l * s**2], [-0.5, 1 / s**2, 2 * l], [l * s**2, 2 * l, 2]])
    scale = np.sqrt(np.outer(np.diag(leading), np.diag(leading)))
    assert np.max(np.abs(found - leading) / scale) < 0.001


@given(st.floats(-12, 12), st.floats(-4, -0.5))
def test_information_is_positive_definite_where_the_leading_order_is_not(l, log_s):
    found = information(np.array([l]), np.array([log_s]))[:, :, 0]
    scale = 1 / np.sqrt(np.diag(found))
    assert np.linalg.eigvalsh(found * scale * scale[:, None]).min() > 1e-6
