"""Charts of smooth percentile curves, of a group beside a reference, and of crude shares beside standardised ones.

Over the rows that chart_parts describes; the styles are in assets/charts.js.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from dashboards.chart_parts import (
    IS_SHOWN,
    OPEN_BEAD,
    ROWS,
    Columns,
    Heads,
    drawn_once,
    finished,
    in_order,
    scale,
    tooltip,
    value_axis,
)

CURVES = {3: "curve", 10: "curve", 25: "curve-quarter", 50: "curve-middle", 75: "curve-quarter", 90: "curve",
          97: "curve"}  # fmt: skip


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


@drawn_once
def beside_reference(columns: Columns, title: str) -> dict[str, Any]:
    """One row a centile of a reference: the share below it as a bead on its beam, a diamond where the reference
    has it."""
    base = alt.Chart(ROWS).encode(y=alt.Y(**in_order("centile")))
    across = alt.X(
        "low:Q", scale=scale(), axis=value_axis("%")
    )
    shown, tip = base.transform_filter(IS_SHOWN), tooltip((("centile", title),), columns)
    return finished(
        (
            base.mark_rule(style="track", yOffset=9).encode(x=alt.XValue(0), x2=alt.X2Value(alt.expr("width"))),
            shown.mark_rule(style="beam", yOffset=9).encode(x=across, x2=alt.X2("high:Q"), tooltip=tip),
            shown.mark_point(style="bead", yOffset=9).encode(x=alt.X("share:Q"), tooltip=tip, **OPEN_BEAD),
            shown.mark_point(style="diamond", yOffset=9, shape="diamond").encode(
                x=alt.X("expected:Q"), tooltip=tip
            ),
            base.mark_text(style="name", yOffset=-10, align="left").encode(x=alt.XValue(0), text=alt.Text("centile:N")),
            base.mark_text(style="written", yOffset=-10, align="right").encode(
                x=alt.XValue(alt.expr("width")), text=alt.Text("t0:N")
            ),
        ),
        alt.Step(48),
    )


@drawn_once
def two_shares(columns: Columns, heads: Heads, name: str, keys: tuple[str, ...]) -> dict[str, Any]:
    """One row a band: its share at the first key of the dimension `name` as a bead, under it that at the second as a
    diamond, each on its beam. Without a second key the beads stand alone."""
    base = alt.Chart(ROWS).encode(y=alt.Y(**in_order("band")))
    across = alt.X(
        "low:Q", scale=scale(), axis=value_axis("%")
    )
    tip = tooltip(heads, columns)
    first, second = (
        base.transform_filter(alt.FieldEqualPredicate(field=f"{name}_key", equal=key)) for key in (*keys, "")[:2]
    )
    first_shown, second_shown = first.transform_filter(IS_SHOWN), second.transform_filter(IS_SHOWN)
    return finished(
        (
            first.mark_rule(style="track", yOffset=10).encode(
                x=alt.XValue(0), x2=alt.X2Value(alt.expr("width"))
            ),
            first_shown.mark_rule(style="beam-thin", yOffset=4).encode(x=across, x2=alt.X2("high:Q"), tooltip=tip),
            second_shown.mark_rule(style="beam-thin", yOffset=16).encode(
                x=across, x2=alt.X2("high:Q"), tooltip=tip
            ),
            first_shown.mark_point(style="bead-small", yOffset=4).encode(
                x=alt.X("share:Q"), tooltip=tip, **OPEN_BEAD
            ),
            second_shown.mark_point(style="diamond", shape="diamond", yOffset=16).encode(
                x=alt.X("share:Q"), tooltip=tip
            ),
            first.mark_text(style="name", yOffset=-13, align="left").encode(x=alt.XValue(0), text=alt.Text("band:N")),
            first.mark_text(style="written", yOffset=-13, align="right").encode(
                x=alt.XValue(alt.expr("width")), text=alt.Text("t0:N")
            ),
        ),
        alt.Step(60),
    )
