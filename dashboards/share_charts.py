"""Charts of a band's share along the periods and along the ages.

Over the rows that chart_parts describes; the styles are in assets/charts.js.
"""

from __future__ import annotations

from functools import cache

from dashboards.chart_parts import (
    IS_FIRM,
    IS_SHOWN,
    IS_UNRELIABLE,
    IS_WITHHELD,
    OPEN_BEAD,
    Columns,
    Heads,
    Part,
    age_axis,
    far_end,
    finished,
    fixed,
    in_order,
    layer,
    number,
    period_axis,
    scale,
    tooltip,
    value_axis,
    words,
)

BOTH = {"domain": ["female", "male"]}


@cache
def over_periods(columns: Columns, heads: Heads) -> Part:
    """Share by period: a thin line through beads on upright beams."""
    x = in_order("period", period_axis(), scale={"padding": 0.5, "type": "point"})
    y, share = number("low", scale=scale(), axis=value_axis("%", tickCount=4)), number("share")
    tip = tooltip(heads, columns)
    return finished(
        (
            layer("rule", {"x": x}, IS_WITHHELD, style="withheld"),
            layer("line", {"x": x, "y": share}, IS_SHOWN, style="thread"),
            layer("rule", {"x": x, "y": y, "y2": far_end("high"), "tooltip": tip}, IS_SHOWN, style="beam-thin"),
            layer("point", {"x": x, "y": share, "tooltip": tip, **OPEN_BEAD}, IS_SHOWN, style="bead-small"),
        ),
        170,
    )


@cache
def over_ages(columns: Columns, heads: Heads) -> Part:
    """Share by age group, female and male side by side, told apart by colour and shape."""
    each = "datum.sex_key != 'all'"
    place = {
        "x": in_order("age", age_axis(), scale={"paddingInner": 0.62}),
        "xOffset": words("sex_key", scale={**BOTH, "paddingInner": 0.6}),
    }
    y, share = number("low", scale=scale(), axis=value_axis("%")), number("share")
    sex = words("sex_key", scale=BOTH, legend=None)
    shape = words("sex_key", scale={**BOTH, "range": ["circle", "square"]}, legend=None)
    tip = tooltip(heads, columns)
    beam = {**place, "y": y, "y2": far_end("high"), "color": sex, "tooltip": tip}
    bead = {**place, "y": share, "shape": shape, "tooltip": tip}
    return finished(
        (
            layer("rule", place, each, IS_WITHHELD, style="withheld"),
            layer("rule", beam, each, IS_SHOWN, style="beam-sex"),
            layer("point", {**bead, "color": sex}, each, IS_FIRM, style="bead-sex"),
            layer(
                "point", {**bead, "fill": fixed("var(--sheet)"), "stroke": sex}, each, IS_UNRELIABLE, style="bead-sex"
            ),
        ),
        240,
    )
