"""Charts that set sites or analysers side by side: shares, the funnel, shrunken estimates, differences over periods.

Over the rows that chart_parts describes; the styles are in assets/charts.js. No mark changes its colour for being
outside a limit: where it stands is what there is to see.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from dashboards.chart_parts import (
    IS_SHOWN,
    IS_WITHHELD,
    OPEN_BEAD,
    ROWS,
    Columns,
    Heads,
    along_periods,
    around_none,
    drawn_once,
    finished,
    in_order,
    period_axis,
    scale,
    tooltip,
    value_axis,
)

LIMITS = (("limit_low", "limit", "95 %"), ("limit_high", "limit", "95 %"), ("outer_low", "limit-outer", "99.8 %"),
          ("outer_high", "limit-outer", "99.8 %"))  # fmt: skip


@drawn_once
def site_beams(columns: Columns, heads: Heads) -> dict[str, Any]:
    """One row a site around the upright line of all sites (the row whose key is empty)."""
    y = alt.Y(**in_order("site", alt.Axis(title=None, labelLimit=190, ticks=False, domain=False)))
    base = alt.Chart(ROWS)
    x = alt.X("low:Q", scale=scale(), axis=value_axis("%", orient="top"))
    shown = base.transform_filter(IS_SHOWN)
    overall = shown.transform_filter("datum.site_key == ''")
    each = shown.transform_filter("datum.site_key != ''")
    tip = tooltip(heads, columns)
    return finished(
        (
            overall.mark_rect(style="reference-band").encode(x=x, x2=alt.X2("high:Q")),
            overall.mark_rule(style="reference").encode(x=alt.X("share:Q")),
            each.mark_rule(style="beam-thin").encode(y=y, x=x, x2=alt.X2("high:Q"), tooltip=tip),
            each.mark_point(style="bead-small").encode(y=y, x=alt.X("share:Q"), tooltip=tip, **OPEN_BEAD),
            base.transform_filter(f"({IS_WITHHELD}) || datum.state == '-'")
            .mark_text(style="note", align="left")
            .encode(y=y, x=alt.XValue(4), text=alt.Text("t0:N")),
        ),
        alt.Step(22),
    )


@drawn_once
def funnel(columns: Columns, heads: Heads, people: str, unit: str) -> dict[str, Any]:
    """Sites by people measured and standardised figure, inside the limits that chance alone would draw.

    The script sets `widest`, the people of the largest site shown, with the ends of the scale.
    """
    size = alt.Axis(title=people, tickCount=5, titlePadding=8)
    base = (
        alt.Chart(ROWS)
        .transform_filter(IS_SHOWN)
        .encode(x=alt.X("people:Q", axis=size, scale=alt.Scale(domain=[0, alt.ExprRef("widest")], nice=True)))
    )
    upright = {} if unit == "%" else {"titleAngle": 0, "titleAlign": "left", "titleAnchor": "end",
                                      "titleY": -16, "titleX": -34}  # fmt: skip
    y = alt.Y("value:Q", scale=scale(), axis=value_axis(unit, **upright))
    lines = [
        base.mark_line(style=style, clip=True, interpolate="monotone").encode(y=alt.Y(f"{name}:Q"))
        for name, style, _ in LIMITS
    ]
    names = [
        base.transform_filter(f"datum.people == widest && datum.{name} <= top")
        .mark_text(style="end", align="right", dy=-7, clip=True)
        .encode(y=alt.Y(f"{name}:Q"), text=alt.TextValue(text))
        for name, _, text in LIMITS
        if name.endswith("high")
    ]
    return finished(
        (
            alt.Chart(ROWS)
            .transform_filter(IS_SHOWN)
            .mark_rule(style="reference")
            .encode(x=alt.XValue(0), x2=alt.X2Value(alt.expr("width")), y=alt.Y("mean(reference):Q")),
            *lines,
            *names,
            base.mark_point(style="bead-small", clip=True).encode(
                y=y, tooltip=tooltip(heads, columns), **OPEN_BEAD
            ),
        ),
        340,
        widest=100,
    )


@drawn_once
def shrunken_beams(columns: Columns, heads: Heads, unit: str) -> dict[str, Any]:
    """One row a site: the shrunken estimate on its beam, a small diamond for the site's own standardised figure."""
    base = alt.Chart(ROWS)
    y = alt.Y(**in_order("site", alt.Axis(title=None, labelLimit=190, ticks=False, domain=False)))
    x = alt.X("shrunken_low:Q", scale=scale(), axis=value_axis(unit, orient="top"))
    shown, tip = base.transform_filter(IS_SHOWN), tooltip(heads, columns)
    return finished(
        (
            shown.mark_rule(style="reference").encode(x=alt.X("mean(reference):Q")),
            shown.mark_rule(style="beam-thin").encode(y=y, x=x, x2=alt.X2("shrunken_high:Q"), tooltip=tip),
            shown.mark_point(style="diamond-small", shape="diamond", clip=True).encode(
                y=y, x=alt.X("value:Q"), tooltip=tip
            ),
            shown.mark_point(style="bead-small").encode(y=y, x=alt.X("shrunken:Q"), tooltip=tip),
            base.transform_filter(f"({IS_WITHHELD}) || datum.state == '-'")
            .mark_text(style="note", align="left")
            .encode(y=y, x=alt.XValue(4), text=alt.Text("t0:N")),
        ),
        alt.Step(22),
    )


@drawn_once
def differences_over_periods(
    columns: Columns, heads: Heads, unit: str, calendar: tuple[str, ...] = ()
) -> dict[str, Any]:
    """An analyser's difference by period around the level line of no difference, with the word of its signal."""
    x = alt.X(**along_periods(calendar, period_axis(), padding=0.5, type="point"))
    tip = tooltip(heads, columns)

    def rings(shown: alt.Chart) -> alt.Chart:
        return (
            shown.transform_filter("datum.signal > 0")
            .mark_point(style="ring")
            .encode(y=alt.Y("difference:Q"), tooltip=tip)
        )

    return around_none(x, "difference", unit, tip, 170, rings)
