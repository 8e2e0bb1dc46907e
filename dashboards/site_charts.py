"""Charts that set sites or analysers side by side: shares, the funnel, shrunken estimates, differences over periods.

Over the rows that chart_parts describes; the styles are in assets/charts.js. No mark changes its colour for being
outside a limit: where it stands is what there is to see.
"""

from __future__ import annotations

from functools import cache

from dashboards.chart_parts import (
    BARE,
    IS_SHOWN,
    IS_WITHHELD,
    LEFT_TO_RIGHT,
    OPEN_BEAD,
    Columns,
    Heads,
    Part,
    around_none,
    axis,
    expr,
    far_end,
    finished,
    fixed,
    in_order,
    layer,
    mean_of,
    number,
    period_axis,
    scale,
    step,
    tooltip,
    upright_title,
    value_axis,
    words,
)

LIMITS = (("limit_low", "limit", "95 %"), ("limit_high", "limit", "95 %"), ("outer_low", "limit-outer", "99.8 %"),
          ("outer_high", "limit-outer", "99.8 %"))  # fmt: skip


def _a_row_a_site() -> tuple[Part, Part]:
    """Sites down the side, and the layer of words for those without a figure."""
    y = in_order("site", axis(labelLimit=190, **BARE))
    note = {"y": y, "x": fixed(4), "text": words("t0")}
    return y, layer("text", note, f"({IS_WITHHELD}) || datum.state == '-'", style="note", align="left")


@cache
def site_beams(columns: Columns, heads: Heads) -> Part:
    """One row a site around the upright line of all sites (the row whose key is empty)."""
    (y, absent), tip = _a_row_a_site(), tooltip(heads, columns)
    beam = {"x": number("low", scale=scale(), axis=value_axis("%", orient="top")), "x2": far_end("high")}
    share, overall, each = number("share"), "datum.site_key == ''", "datum.site_key != ''"
    return finished(
        (
            layer("rect", beam, IS_SHOWN, overall, style="reference-band"),
            layer("rule", {"x": share}, IS_SHOWN, overall, style="reference"),
            layer("rule", {"y": y, **beam, "tooltip": tip}, IS_SHOWN, each, style="beam-thin"),
            layer("point", {"y": y, "x": share, "tooltip": tip, **OPEN_BEAD}, IS_SHOWN, each, style="bead-small"),
            absent,
        ),
        step(22),
    )


@cache
def funnel(columns: Columns, heads: Heads, people: str, unit: str) -> Part:
    """Sites by people measured and standardised figure, inside the limits that chance alone would draw.

    The script sets `widest`, the people of the largest site shown, with the ends of the scale.
    """
    across = {"domain": [0, expr("widest")], "nice": True}
    x = number("people", axis=axis(people, tickCount=5, titlePadding=8), scale=across)
    over = {} if unit == "%" else upright_title(unit)
    y = number("value", scale=scale(), axis=value_axis(unit) | over)
    lines = [
        layer("line", {"x": x, "y": number(name)}, IS_SHOWN, style=style, clip=True, interpolate="monotone")
        for name, style, _ in LIMITS
    ]
    names = [
        layer("text", {"x": x, "y": number(name), "text": fixed(text)}, IS_SHOWN,
              f"datum.people == widest && datum.{name} <= top", style="end", align="right", dy=-7, clip=True)
        for name, _, text in LIMITS
        if name.endswith("high")
    ]  # fmt: skip
    bead = {"x": x, "y": y, "tooltip": tooltip(heads, columns), **OPEN_BEAD}
    return finished(
        (
            layer("rule", {**LEFT_TO_RIGHT, "y": mean_of("reference")}, IS_SHOWN, style="reference"),
            *lines,
            *names,
            layer("point", bead, IS_SHOWN, style="bead-small", clip=True),
        ),
        340,
        widest=100,
    )


@cache
def shrunken_beams(columns: Columns, heads: Heads, unit: str) -> Part:
    """One row a site: the shrunken estimate on its beam, a small diamond for the site's own standardised figure."""
    (y, absent), tip = _a_row_a_site(), tooltip(heads, columns)
    x = number("shrunken_low", scale=scale(), axis=value_axis(unit, orient="top"))
    beam = {"y": y, "x": x, "x2": far_end("shrunken_high"), "tooltip": tip}
    own, shrunken = ({"y": y, "x": number(name), "tooltip": tip} for name in ("value", "shrunken"))
    return finished(
        (
            layer("rule", {"x": mean_of("reference")}, IS_SHOWN, style="reference"),
            layer("rule", beam, IS_SHOWN, style="beam-thin"),
            layer("point", own, IS_SHOWN, style="diamond-small", shape="diamond", clip=True),
            layer("point", shrunken, IS_SHOWN, style="bead-small"),
            absent,
        ),
        step(22),
    )


@cache
def differences_over_periods(columns: Columns, heads: Heads, unit: str) -> Part:
    """An analyser's difference by period around the level line of no difference, with the word of its signal."""
    x, tip = in_order("period", period_axis(), scale={"padding": 0.5, "type": "point"}), tooltip(heads, columns)
    ring = {"x": x, "y": number("difference"), "tooltip": tip}
    signals = layer("point", ring, IS_SHOWN, "datum.signal > 0", style="ring")
    return around_none(x, "difference", unit, tip, 170, signals)
