"""Charts of outcomes: estimates beside no change, bands at entry by bands at follow-up, effects by time since start.

Over the rows that chart_parts describes; the styles are in assets/charts.js. Rows carry `zero`, the place of no
change, so that it is on every scale.
"""

from __future__ import annotations

from functools import cache

from dashboards.chart_parts import (
    HEIGHT,
    IS_SHOWN,
    IS_WITHHELD,
    LEFT_TO_RIGHT,
    OPEN_BEAD,
    Columns,
    Heads,
    Part,
    around_none,
    axis,
    either,
    far_end,
    finished,
    fixed,
    in_order,
    layer,
    mean_of,
    number,
    scale,
    signed_axis,
    step,
    tooltip,
    value_axis,
    words,
    worked_out,
)


@cache
def estimates(columns: Columns, heads: Heads, row: str, unit: str, *, is_share: bool = False) -> Part:
    """One row an estimate: its name and figure over a bead on a beam, and an upright line at no change.

    Rows with a `target` have a stroke across their beam there.
    """
    y, tip = in_order(row), tooltip(heads, columns)
    across = number("low", scale=scale(), axis=value_axis("%") if is_share else signed_axis(unit))
    none = {"x": mean_of("zero"), "y": fixed(0), "y2": fixed(HEIGHT)}
    beam = {"y": y, "x": across, "x2": far_end("high"), "tooltip": tip}
    bead = {"y": y, "x": number("value"), "tooltip": tip, **OPEN_BEAD}
    # name and figure together: at the right end the figure would stand on the line of no change
    named = worked_out("named", f"datum.{row} + ':  ' + datum.t0")
    stroke = {"orient": "vertical", "thickness": 2, "size": 15}
    return finished(
        (
            layer("rule", {"y": y, **LEFT_TO_RIGHT}, style="track", yOffset=9),
            layer("rule", none, style="reference"),
            layer("rule", beam, IS_SHOWN, style="beam", yOffset=9),
            layer("tick", {"y": y, "x": number("target")}, IS_SHOWN, "isValid(datum.target)", style="target",
                  yOffset=9, **stroke),
            layer("point", bead, IS_SHOWN, style="bead", yOffset=9),
            layer("text", {"y": y, "x": fixed(0), "text": words("named")}, named, style="name", yOffset=-10,
                  align="left"),
        ),
        step(48),
    )  # fmt: skip


@cache
def transitions(columns: Columns, heads: Heads) -> Part:
    """Band at entry down, band at follow-up across: the darker, the larger the share of the row."""
    plain = axis(domain=False, ticks=False, labelLimit=110)
    narrow = {"labelAngle": -40, "orient": "top", "labelAlign": "left"}
    place = {"x": in_order("band_to", plain | narrow), "y": in_order("band_from", plain)}
    tip = tooltip(heads, columns)
    dark = number("share", scale={"domain": [0, 100], "range": [0, 1]}, legend=None)
    whole = worked_out("whole", "format(datum.share, '.0f') + (width < 400 ? '' : '\u00a0%')")
    figure = {**place, "text": words("whole"), "color": either("datum.share > 55", "var(--sheet)", "var(--ink)")}
    return finished(
        (
            layer("rect", {**place, "opacity": dark, "tooltip": tip}, IS_SHOWN, color="var(--mark)", cornerRadius=2),
            layer("text", figure, IS_SHOWN, "datum.n > 0", whole, style="note", fontStyle="normal", fontSize=12),
            layer("text", {**place, "tooltip": tip}, IS_WITHHELD, style="note", text="–"),
        ),
        step(40),
    )


@cache
def effects_over_time(columns: Columns, heads: Heads) -> Part:
    """Effect by time since the start around the level line of no difference."""
    x = in_order("time", axis(labelAngle=0, labelOverlap=False), scale={"padding": 0.5, "type": "point"})
    return around_none(x, "value", "%", tooltip(heads, columns), 220)


def with_target(spec: Part) -> Part:
    """A chart of sites with a dashed line at the target, where the follow-up has one."""
    line = {
        "data": {"name": "rows"},
        "transform": [{"filter": "isValid(datum.target)"}],
        "mark": {"type": "rule", "style": "limit"},
        "encoding": {"x": {"field": "target", "type": "quantitative"}},
    }
    return {**spec, "layer": [*spec["layer"], line]}
