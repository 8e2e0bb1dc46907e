"""Charts of plain counts and shares from zero, which carry no interval.

Over the rows that chart_parts describes; the styles are in assets/charts.js.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from dashboards.chart_parts import (
    IS_ABSENT,
    IS_SHOWN,
    ROWS,
    Columns,
    Heads,
    along_periods,
    drawn_once,
    finished,
    in_order,
    period_axis,
    scale,
    tooltip,
    value_axis,
)


@drawn_once
def bars(columns: Columns, row: str, heads: Heads) -> dict[str, Any]:
    """Plain bars of shares from zero, one row each."""
    y = alt.Y(**in_order(row, alt.Axis(title=None, labelLimit=190, ticks=False, domain=False)))
    x = alt.X("share:Q", scale=scale(), axis=value_axis("%", tickCount=3, orient="top"))
    base = alt.Chart(ROWS)
    return finished(
        (
            base.transform_filter(IS_SHOWN)
            .mark_bar(style="bar")
            .encode(x=x, y=y, tooltip=tooltip(heads, columns)),
            base.transform_filter(f"!({IS_SHOWN}) || datum.share == 0")
            .mark_text(style="note", align="left")
            .encode(x=alt.XValue(4), y=y, text=alt.Text("t0:N")),
        ),
        alt.Step(22),
    )


@drawn_once
def named_bars(columns: Columns, row: str, title: str) -> dict[str, Any]:
    """Bars of shares from zero, each under its name, for names too long to stand beside."""
    base = alt.Chart(ROWS).encode(y=alt.Y(**in_order(row)))
    x = alt.X("share:Q", scale=scale(), axis=value_axis("%", tickCount=4))
    return finished(
        (
            base.mark_rule(style="track", yOffset=9).encode(x=alt.XValue(0), x2=alt.X2Value(alt.expr("width"))),
            base.transform_filter(IS_SHOWN)
            .mark_bar(style="bar", yOffset=9, height=8)
            .encode(x=x, tooltip=tooltip(((row, title),), columns)),
            base.mark_text(style="name", yOffset=-10, align="left", limit=alt.expr("width - 70")).encode(
                x=alt.XValue(0), text=alt.Text(f"{row}:N")
            ),
            base.mark_text(style="written", yOffset=-10, align="right").encode(
                x=alt.XValue(alt.expr("width")), text=alt.Text("t0:N")
            ),
        ),
        alt.Step(44),
    )


@drawn_once
def people_by_period(columns: Columns, heads: Heads, calendar: tuple[str, ...] = ()) -> dict[str, Any]:
    """How many people were measured, a column a period."""
    base = alt.Chart(ROWS).encode(x=alt.X(**along_periods(calendar, period_axis(), paddingInner=0.35)))
    base = base.transform_filter("datum.sex_key == 'all'")
    y = alt.Y("people:Q", scale=scale(), axis=alt.Axis(title=None, tickCount=4))
    return finished(
        (
            base.transform_filter(IS_ABSENT).mark_rule(style="withheld"),
            base.transform_filter(IS_SHOWN)
            .mark_bar(style="bar")
            .encode(y=y, tooltip=tooltip(heads, columns)),
            base.transform_filter(IS_SHOWN)
            .mark_text(
                style="written",
                align="center",
                baseline="bottom",
                dy=-4,
                opacity=alt.expr("width < 560 ? 0 : 1"),
            )
            .encode(y=y, text=alt.Text("t0:N")),
        ),
        180,
    )
