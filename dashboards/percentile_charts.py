"""Charts of percentiles: strips in each other for groups, smooth curves over age.

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
    age_axis,
    along_periods,
    drawn_once,
    finished,
    in_order,
    period_axis,
    scale,
    tooltip,
)

CURVES = {3: "curve", 10: "curve", 25: "curve-quarter", 50: "curve-middle", 75: "curve-quarter", 90: "curve",
          97: "curve"}  # fmt: skip

@drawn_once
def nested_strips(
    columns: Columns, along: str, title: str, unit: str, calendar: tuple[str, ...] = ()
) -> dict[str, Any]:
    """Percentiles of each group as strips in each other: 3–97, 10–90, 25–75, and a bead for the middle."""
    x = (
        along_periods(calendar, period_axis(), padding=0.5, type="point")
        if along == "period"
        else in_order(along, age_axis(), scale=alt.Scale(padding=0.5, type="point"))
    )
    base = alt.Chart(ROWS).encode(x=alt.X(**x))
    y_axis = alt.Axis(
        title=unit or None, titleAngle=0, titleAlign="left", titleAnchor="end", titleY=-16, titleX=-34
    )
    shown = base.transform_filter(IS_SHOWN)
    tip = tooltip(((along, title),), columns)

    def strip(style: str, low: str, high: str) -> alt.Chart:
        return shown.mark_rule(style=style).encode(
            y=alt.Y(f"{low}:Q", scale=scale(), axis=y_axis), y2=alt.Y2(f"{high}:Q"), tooltip=tip
        )

    return finished(
        (
            base.transform_filter(IS_ABSENT).mark_rule(style="withheld"),
            strip("strip-outer", "p3", "p97"),
            strip("strip-wide", "p10", "p90"),
            strip("strip-middle", "p25", "p75"),
            shown.mark_point(style="bead-over").encode(y=alt.Y("p50:Q"), tooltip=tip),
        ),
        300,
    )


@drawn_once
def percentile_curves(columns: Columns, heads: Heads, unit: str, ages: tuple[int, int]) -> dict[str, Any]:
    """Seven lines over age with a light band around the middle one; each line is named at its right end."""
    axis = alt.Axis(title=heads[-1][1], tickCount=10, grid=False, ticks=False, format="d", titlePadding=6)
    base = (
        alt.Chart(ROWS)
        .transform_calculate(year="toNumber(datum.year_key)")
        .transform_filter(IS_SHOWN)
        .encode(x=alt.X("year:Q", axis=axis, scale=alt.Scale(domain=list(ages), nice=False)))
    )
    title = alt.Axis(
        title=unit or None, titleAngle=0, titleAlign="left", titleAnchor="end", titleY=-16, titleX=-34
    )
    y = alt.Y("p50_low:Q", scale=scale(), axis=title)
    band = base.mark_area(style="curve-band").encode(y=y, y2=alt.Y2("p50_high:Q"))
    lines = [base.mark_line(style=style, clip=True).encode(y=alt.Y(f"p{p}:Q")) for p, style in CURVES.items()]
    ends = [
        base.transform_filter(f"isValid(datum.p{p})")  # an outer percentile can end before the middle one
        .transform_joinaggregate(last="max(year)")
        .transform_filter("datum.year == datum.last")
        .mark_text(style="end", align="left", dx=5)
        .encode(y=alt.Y(f"p{p}:Q"), text=alt.TextValue(str(p)))
        for p in CURVES
    ]
    hover = base.mark_rule(style="hover").encode(tooltip=tooltip(heads, columns))
    return finished((band, *lines, *ends, hover), 340)
