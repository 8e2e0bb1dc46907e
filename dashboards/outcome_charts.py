"""Charts of outcomes: estimates beside no change, bands at entry by bands at follow-up, effects by time since start.

Over the rows that chart_parts describes; the styles are in assets/charts.js. Rows carry `zero`, the place of no
change, so that it is on every scale.
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
    around_none,
    drawn_once,
    either,
    finished,
    in_order,
    scale,
    signed_axis,
    tooltip,
    value_axis,
)


@drawn_once
def estimates(
    columns: Columns, heads: Heads, row: str, unit: str, *, is_share: bool = False
) -> dict[str, Any]:
    """One row an estimate: its name and figure over a bead on a beam, and an upright line at no change.

    Rows with a `target` have a stroke across their beam there.
    """
    base = alt.Chart(ROWS).encode(y=alt.Y(**in_order(row)))
    across = alt.X("low:Q", scale=scale(), axis=value_axis("%") if is_share else signed_axis(unit))
    shown, tip = base.transform_filter(IS_SHOWN), tooltip(heads, columns)
    none = (
        alt.Chart(ROWS)
        .mark_rule(style="reference")
        .encode(x=alt.X("mean(zero):Q"), y=alt.YValue(0), y2=alt.Y2Value(alt.expr("height")))
    )
    return finished(
        (
            base.mark_rule(style="track", yOffset=9).encode(x=alt.XValue(0), x2=alt.X2Value(alt.expr("width"))),
            none,
            shown.mark_rule(style="beam", yOffset=9).encode(x=across, x2=alt.X2("high:Q"), tooltip=tip),
            shown.transform_filter("isValid(datum.target)")
            .mark_tick(style="target", orient="vertical", thickness=2, size=15, yOffset=9)
            .encode(x=alt.X("target:Q")),
            shown.mark_point(style="bead", yOffset=9).encode(x=alt.X("value:Q"), tooltip=tip, **OPEN_BEAD),
            # name and figure together: at the right end the figure would stand on the line of no change
            base.transform_calculate(named=f"datum.{row} + ':  ' + datum.t0")
            .mark_text(style="name", yOffset=-10, align="left")
            .encode(x=alt.XValue(0), text=alt.Text("named:N")),
        ),
        alt.Step(48),
    )


@drawn_once
def transitions(columns: Columns, heads: Heads) -> dict[str, Any]:
    """Band at entry down, band at follow-up across: the darker, the larger the share of the row."""
    axis = {"title": None, "domain": False, "ticks": False, "labelLimit": 110}
    narrow = {"labelAngle": -40, "orient": "top", "labelAlign": "left"}
    base = alt.Chart(ROWS).encode(
        x=alt.X(**in_order("band_to", alt.Axis(**axis, **narrow))),
        y=alt.Y(**in_order("band_from", alt.Axis(**axis))),
    )
    shown, tip = base.transform_filter(IS_SHOWN), tooltip(heads, columns)
    strong = "datum.share > 55"
    return finished(
        (
            shown.mark_rect(color="var(--mark)", cornerRadius=2).encode(
                opacity=alt.Opacity("share:Q", scale=alt.Scale(domain=[0, 100], range=[0, 1]), legend=None),
                tooltip=tip,
            ),
            shown.transform_filter("datum.n > 0")
            .transform_calculate(whole="format(datum.share, '.0f') + (width < 400 ? '' : '\u00a0%')")
            .mark_text(style="note", fontStyle="normal", fontSize=12)
            .encode(
                text=alt.Text("whole:N"),
                color=either(alt.ColorValue, strong, "var(--sheet)", "var(--ink)"),
            ),
            base.transform_filter(IS_WITHHELD).mark_text(style="note", text="–").encode(tooltip=tip),
        ),
        alt.Step(40),
    )


@drawn_once
def effects_over_time(columns: Columns, heads: Heads) -> dict[str, Any]:
    """Effect by time since the start around the level line of no difference."""
    x = alt.X(
        **in_order(
            "time",
            alt.Axis(title=None, labelAngle=0, labelOverlap=False),
            scale=alt.Scale(padding=0.5, type="point"),
        )
    )
    return around_none(x, "value", "%", tooltip(heads, columns), 220)


def with_target(spec: dict[str, Any]) -> dict[str, Any]:
    """A chart of sites with a dashed line at the target, where the follow-up has one."""
    line = {
        "data": {"name": "rows"},
        "transform": [{"filter": "isValid(datum.target)"}],
        "mark": {"type": "rule", "style": "limit"},
        "encoding": {"x": {"field": "target", "type": "quantitative"}},
    }
    return {**spec, "layer": [*spec["layer"], line]}
