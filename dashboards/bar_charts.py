"""Charts of plain counts and shares from zero, which carry no interval.

Over the rows that chart_parts describes; the styles are in assets/charts.js.
"""

from __future__ import annotations

from functools import cache

from dashboards.chart_parts import (
    BARE,
    IS_ABSENT,
    IS_SHOWN,
    LEFT_TO_RIGHT,
    WIDTH,
    Columns,
    Heads,
    Part,
    axis,
    expr,
    finished,
    fixed,
    in_order,
    layer,
    number,
    period_axis,
    scale,
    step,
    tooltip,
    value_axis,
    words,
)


@cache
def bars(columns: Columns, row: str, heads: Heads) -> Part:
    """Plain bars of shares from zero, one row each."""
    y = in_order(row, axis(labelLimit=190, **BARE))
    x = number("share", scale=scale(), axis=value_axis("%", tickCount=3, orient="top"))
    note = {"x": fixed(4), "y": y, "text": words("t0")}
    return finished(
        (
            layer("bar", {"x": x, "y": y, "tooltip": tooltip(heads, columns)}, IS_SHOWN, style="bar"),
            layer("text", note, f"!({IS_SHOWN}) || datum.share == 0", style="note", align="left"),
        ),
        step(22),
    )


@cache
def named_bars(columns: Columns, row: str, title: str) -> Part:
    """Bars of shares from zero, each under its name, for names too long to stand beside."""
    y, tip = in_order(row), tooltip(((row, title),), columns)
    x = number("share", scale=scale(), axis=value_axis("%", tickCount=4))
    name, figure = {"x": fixed(0), "text": words(row)}, {"x": fixed(WIDTH), "text": words("t0")}
    return finished(
        (
            layer("rule", {"y": y, **LEFT_TO_RIGHT}, style="track", yOffset=9),
            layer("bar", {"y": y, "x": x, "tooltip": tip}, IS_SHOWN, style="bar", yOffset=9, height=8),
            layer("text", {"y": y, **name}, style="name", yOffset=-10, align="left", limit=expr("width - 70")),
            layer("text", {"y": y, **figure}, style="written", yOffset=-10, align="right"),
        ),
        step(44),
    )


@cache
def people_by_period(columns: Columns, heads: Heads) -> Part:
    """How many people were measured, a column a period."""
    x, every = in_order("period", period_axis(), scale={"paddingInner": 0.35}), "datum.sex_key == 'all'"
    y = number("people", scale=scale(), axis=axis(tickCount=4))
    written = {"align": "center", "baseline": "bottom", "dy": -4, "opacity": expr("width < 560 ? 0 : 1")}
    return finished(
        (
            layer("rule", {"x": x}, every, IS_ABSENT, style="withheld"),
            layer("bar", {"x": x, "y": y, "tooltip": tooltip(heads, columns)}, every, IS_SHOWN, style="bar"),
            layer("text", {"x": x, "y": y, "text": words("t0")}, every, IS_SHOWN, style="written", **written),
        ),
        180,
    )
