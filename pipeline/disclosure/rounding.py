"""Figures that are told less exactly than they are known, so that no small count can be worked out of them."""

from __future__ import annotations

import polars as pl

_SLACK = 1e-9  # of a step: 0.3 / 0.1 is 2.9999999999999996


def step_of(least: pl.Expr) -> pl.Expr:
    """The smallest of … 0.1, 0.2, 0.5, 1, 2, 5 … that is at least so wide. Null stays null."""
    power = (10.0 ** (least.log10() + _SLACK).floor()).alias("power")
    ratio = least / power
    return power * (
        pl.when(ratio <= 1 + _SLACK)
        .then(1.0)
        .when(ratio <= 2 + _SLACK)
        .then(2.0)
        .when(ratio <= 5 + _SLACK)
        .then(5.0)
        .otherwise(10.0)
    )


def step_with_room(figure: pl.Series, room: pl.Series, coarsest: float) -> pl.Series:
    """The smallest of those steps under which the figure could be `room` more or less and still be told the same.

    Null where none up to `coarsest` will do. A step twice as wide as the room is not always enough: a figure near the
    edge of what is rounded together could move to one side only.
    """
    found = pl.Series("step", [None] * figure.len(), dtype=pl.Float64)
    for power in range(-6, 1):
        for digit in (1.0, 2.0, 5.0):
            step = digit * 10.0**power
            from_edge = (figure / step + 0.5) % 1.0 * step
            nearest = pl.select(pl.min_horizontal(from_edge, step - from_edge)).to_series()
            has_room = (nearest >= room * (1 - _SLACK)) & (step <= coarsest * (1 + _SLACK))
            found = found.fill_null(pl.select(pl.when(has_room).then(step)).to_series())
    return found


def to_nearest(figure: pl.Expr, step: pl.Expr | float) -> pl.Expr:
    """The nearest whole number of steps, halves upward."""
    return (figure / step + 0.5 + _SLACK).floor() * step


def downward(figure: pl.Expr, step: pl.Expr | float) -> pl.Expr:
    """A lower limit: the whole number of steps at or below it."""
    return (figure / step + _SLACK).floor() * step


def upward(figure: pl.Expr, step: pl.Expr | float) -> pl.Expr:
    """An upper limit: the whole number of steps at or above it."""
    return (figure / step - _SLACK).ceil() * step


def to_significant(figure: pl.Expr, digits: int) -> pl.Expr:
    """A figure to so many significant digits; null stays null."""
    return figure.round_sig_figs(digits)


def down_to_multiple(count: pl.Expr, of: int) -> pl.Expr:
    """A count as the whole multiple at or below it."""
    return (count // of) * of
