"""Charts of percentiles: strips in each other for groups, smooth curves over age.

Over the rows that chart_parts describes; the styles are in assets/charts.js.
"""

from __future__ import annotations

from functools import cache

from dashboards.chart_parts import (
    IS_ABSENT,
    IS_SHOWN,
    Columns,
    Heads,
    Part,
    age_axis,
    axis,
    far_end,
    finished,
    fixed,
    in_order,
    layer,
    number,
    period_axis,
    scale,
    tooltip,
    upright_title,
    worked_out,
)

CURVES = {3: "curve", 10: "curve", 25: "curve-quarter", 50: "curve-middle", 75: "curve-quarter", 90: "curve",
          97: "curve"}  # fmt: skip
STRIPS = (("strip-outer", "p3", "p97"), ("strip-wide", "p10", "p90"), ("strip-middle", "p25", "p75"))


@cache
def nested_strips(columns: Columns, along: str, title: str, unit: str) -> Part:
    """Percentiles of each group as strips in each other: 3–97, 10–90, 25–75, and a bead for the middle."""
    groups = period_axis() if along == "period" else age_axis()
    x = in_order(along, groups, scale={"padding": 0.5, "type": "point"})
    tip, over = tooltip(((along, title),), columns), upright_title(unit)
    strips = [
        layer("rule", {"x": x, "y": number(low, scale=scale(), axis=over), "y2": far_end(high), "tooltip": tip},
              IS_SHOWN, style=style)
        for style, low, high in STRIPS
    ]  # fmt: skip
    return finished(
        (
            layer("rule", {"x": x}, IS_ABSENT, style="withheld"),
            *strips,
            layer("point", {"x": x, "y": number("p50"), "tooltip": tip}, IS_SHOWN, style="bead-over"),
        ),
        300,
    )


@cache
def percentile_curves(columns: Columns, heads: Heads, unit: str, ages: tuple[int, int]) -> Part:
    """Seven lines over age with a light band around the middle one; each line is named at its right end."""
    look = {"tickCount": 10, "grid": False, "ticks": False, "format": "d", "titlePadding": 6}
    x = number("year", axis=axis(heads[-1][1], **look), scale={"domain": list(ages), "nice": False})
    shown = (worked_out("year", "toNumber(datum.year_key)"), IS_SHOWN)
    y = number("p50_low", scale=scale(), axis=upright_title(unit))
    lines = [
        layer("line", {"x": x, "y": number(f"p{p}")}, *shown, style=style, clip=True) for p, style in CURVES.items()
    ]
    last = {"joinaggregate": [{"op": "max", "field": "year", "as": "last"}]}
    ends = [
        layer("text", {"x": x, "y": number(f"p{p}"), "text": fixed(str(p))}, *shown,
              f"isValid(datum.p{p})",  # an outer percentile can end before the middle one
              last, "datum.year == datum.last", style="end", align="left", dx=5)
        for p in CURVES
    ]  # fmt: skip
    return finished(
        (
            layer("area", {"x": x, "y": y, "y2": far_end("p50_high")}, *shown, style="curve-band"),
            *lines,
            *ends,
            layer("rule", {"x": x, "tooltip": tooltip(heads, columns)}, *shown, style="hover"),
        ),
        340,
    )
