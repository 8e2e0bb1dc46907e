"""Charts of a band's share along the periods and along the ages.

Over the rows that chart_parts describes; the styles are in assets/charts.js.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from dashboards.chart_parts import (
    IS_FIRM,
    IS_SHOWN,
    IS_UNRELIABLE,
    IS_WITHHELD,
    OPEN_BEAD,
    ROWS,
    Columns,
    Heads,
    age_axis,
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
def over_periods(columns: Columns, heads: Heads, calendar: tuple[str, ...] = ()) -> dict[str, Any]:
    """Share by period: a thin line through beads on upright beams."""
    base = alt.Chart(ROWS).encode(
        x=alt.X(**along_periods(calendar, period_axis(), padding=0.5, type="point"))
    )
    y = alt.Y("low:Q", scale=scale(), axis=value_axis("%", tickCount=4))
    shown = base.transform_filter(IS_SHOWN)
    tip = tooltip(heads, columns)
    return finished(
        (
            base.transform_filter(IS_WITHHELD).mark_rule(style="withheld"),
            shown.mark_line(style="thread").encode(y=alt.Y("share:Q")),
            shown.mark_rule(style="beam-thin").encode(y=y, y2=alt.Y2("high:Q"), tooltip=tip),
            shown.mark_point(style="bead-small").encode(y=alt.Y("share:Q"), tooltip=tip, **OPEN_BEAD),
        ),
        170,
    )


@drawn_once
def over_ages(columns: Columns, heads: Heads) -> dict[str, Any]:
    """Share by age group, female and male side by side, told apart by colour and shape."""
    x = alt.X(**in_order("age", age_axis(), scale=alt.Scale(paddingInner=0.62)))
    base = alt.Chart(ROWS).encode(
        x=x, xOffset=alt.XOffset("sex_key:N", scale=alt.Scale(domain=["female", "male"], paddingInner=0.6))
    )
    y = alt.Y("low:Q", scale=scale(), axis=value_axis("%"))
    sex = alt.Color("sex_key:N", scale=alt.Scale(domain=["female", "male"]), legend=None)
    shape = alt.Shape(
        "sex_key:N", scale=alt.Scale(domain=["female", "male"], range=["circle", "square"]), legend=None
    )
    base = base.transform_filter("datum.sex_key != 'all'")
    shown = base.transform_filter(IS_SHOWN)
    tip = tooltip(heads, columns)
    return finished(
        (
            base.transform_filter(IS_WITHHELD).mark_rule(style="withheld"),
            shown.mark_rule(style="beam-sex").encode(y=y, y2=alt.Y2("high:Q"), color=sex, tooltip=tip),
            base.transform_filter(IS_FIRM)
            .mark_point(style="bead-sex")
            .encode(y=alt.Y("share:Q"), color=sex, shape=shape, tooltip=tip),
            base.transform_filter(IS_UNRELIABLE)
            .mark_point(style="bead-sex")
            .encode(
                y=alt.Y("share:Q"),
                fill=alt.FillValue("var(--sheet)"),
                stroke=alt.Stroke("sex_key:N", scale=alt.Scale(domain=["female", "male"]), legend=None),
                shape=shape,
                tooltip=tip,
            ),
        ),
        240,
    )
