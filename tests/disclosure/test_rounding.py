"""Figures told less exactly than they are known."""

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.disclosure.rounding import (
    down_to_multiple,
    downward,
    step_of,
    step_with_room,
    to_nearest,
    upward,
)


def of(expression, **columns):
    return pl.DataFrame(columns).select(found=expression)["found"].to_list()


@pytest.mark.parametrize(
    ("least", "step"),
    [
        (0.001, 0.001),
        (0.0011, 0.002),
        (0.002, 0.002),
        (0.0021, 0.005),
        (0.0051, 0.01),
        (0.3, 0.5),
        (1, 1),
        (7, 10),
    ],
)
def test_a_step_is_the_next_of_one_two_five(least, step):
    assert of(step_of(pl.col("x")), x=[float(least)]) == pytest.approx([step])


@given(st.floats(1e-6, 1e6))
def test_a_step_is_wide_enough_and_less_than_two_and_a_half_times_too_wide(least):
    [step] = of(step_of(pl.col("x")), x=[least])
    assert least * (1 - 1e-6) <= step <= 2.5 * least * (1 + 1e-6)


@given(st.floats(-1, 1), st.sampled_from([0.001, 0.002, 0.005, 0.01, 0.05]))
def test_limits_go_outward_and_figures_to_the_nearest(figure, step):
    [low], [near], [high] = (
        of(rule(pl.col("x"), step), x=[figure]) for rule in (downward, to_nearest, upward)
    )
    assert low - 1e-9 <= figure <= high + 1e-9
    assert abs(near - figure) <= step / 2 + 1e-9
    assert high - low <= step * (1 + 1e-6)


def test_a_figure_on_a_step_stays_whatever_its_last_bit():
    for rule in (downward, to_nearest, upward):
        assert of(rule(pl.col("x"), 0.1), x=[0.3, 0.7, 0.1 + 0.2]) == pytest.approx([0.3, 0.7, 0.3])


def test_missing_stays_missing_and_counts_go_down_to_whole_multiples():
    assert of(to_nearest(pl.col("x"), 0.1), x=pl.Series([None], dtype=pl.Float64)) == [None]
    assert of(down_to_multiple(pl.col("n"), 10), n=[0, 9, 10, 19, 30]) == [0, 0, 10, 10, 30]


@pytest.mark.parametrize(
    ("figure", "room", "step"),
    [
        (0.25, 0.025, 0.05),  # in the middle of 0.225 to 0.275
        (0.25, 0.0251, None),
        (0.234, 0.001, 0.002),  # 0.233 to 0.235
        (0.2345, 0.001, 0.005),  # near the end of 0.2335 to 0.2345; within 0.2325 to 0.2375
        (0.0, 0.02, 0.05),
    ],
)
def test_a_figure_may_move_both_ways_within_its_step(figure, room, step):
    found = step_with_room(pl.Series([figure]), pl.Series([room]), 0.05)[0]
    assert found == (None if step is None else pytest.approx(step))
