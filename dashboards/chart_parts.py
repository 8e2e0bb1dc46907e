"""What charts share: rows, order, scale, axes, tooltip, and the finishing of a spec.

Rows arrive from the page's script under the name "rows": one field a dimension (its label), `<dimension>_key`,
`at` (reading order), `state`, each figure in the unit that is read, and `t0`, `t1` … the texts of the table, for
the tooltip.

A spec is made with Altair, shapes and encodings only; it depends on its arguments alone and nobody changes it.
Colours, type and grid come from the page's own CSS; assets/charts.js holds every style named in a chart: beam (an
interval), bead (a figure; open where the figure is unreliable), strip (a range of percentiles), track, thread,
withheld, reference.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache, wraps
from typing import Any

import altair as alt
from altair.utils.schemapi import debug_mode

from dashboards.figures import TableColumn

Columns = tuple[TableColumn, ...]
Heads = tuple[tuple[str, str], ...]
ROWS = alt.NamedData(name="rows")
# "Q3 2025" takes two lines, the year only where it begins; a month stays as it is
PERIOD_LABEL = (
    "test(/^Q/, datum.label) ? [slice(datum.label, 0, 2), "
    "datum.index == 0 || test(/^Q1/, datum.label) ? slice(datum.label, 3) : ''] : datum.label"
)
IS_SHOWN = "datum.state == '.' || datum.state == 'u'"
IS_FIRM = "datum.state == '.'"
IS_UNRELIABLE = "datum.state == 'u'"
IS_WITHHELD = "datum.state == 'w'"
IS_ABSENT = "datum.state == 'w' || datum.state == '-'"  # where a group without rows may be a withheld one


def either(channel: type, test: str, then: str, otherwise: str) -> Any:
    """One of two values of a channel, by a test of the row."""
    return channel(otherwise, condition={"test": test, "value": then})


# an unreliable figure is an open bead: there to be seen, not to be leaned on
OPEN_BEAD = {
    "fill": either(alt.FillValue, IS_UNRELIABLE, "var(--sheet)", "var(--mark)"),
    "stroke": either(alt.StrokeValue, IS_UNRELIABLE, "var(--mark)", "var(--sheet)"),
}


def tooltip(heads: Heads, columns: Columns) -> list[alt.Tooltip]:
    return [alt.Tooltip(f"{field}:N", title=title) for field, title in heads] + [
        alt.Tooltip(f"t{i}:N", title=column.label) for i, column in enumerate(columns)
    ]


def in_order(field: str, axis: Any = None, **options: Any) -> dict[str, Any]:
    return {
        "shorthand": f"{field}:N",
        "sort": alt.EncodingSortField(field="at", op="min", order="ascending"),
        "axis": axis,
        **options,
    }


def scale() -> alt.Scale:
    """One scale for a view; the script sets its ends from the figures shown."""
    return alt.Scale(domain=[alt.ExprRef("bottom"), alt.ExprRef("top")], nice=True, zero=False)


def drawn_once(draw: Callable[..., dict[str, Any]]) -> Callable[..., dict[str, Any]]:
    """A function that makes a spec, called once a process for the same arguments.

    Altair holds every part to the grammar's schema as it is made, and each chart again: half of the time that pages
    took. What a spec is made of does not come from data, so the tests hold each kind of chart to the schema instead.
    A channel is given as its class (alt.X2("high:Q"), alt.XValue(0)): for a plain text or value Altair looks the class
    up by a digest of every part of the grammar, 6 ms a channel.
    """

    @cache
    @wraps(draw)
    def drawn(*arguments: Any, **options: Any) -> dict[str, Any]:
        with debug_mode(False):
            return draw(*arguments, **options)

    return drawn


def finished(layers: Sequence[alt.Chart], height: Any, **more: float) -> dict[str, Any]:
    """The spec of layers over ROWS, with the parameters that the script sets: the ends of the scale, and `more` with
    first values.

    Laid over each other here, as Altair does it for charts of one and the same data, and without its copies of each.
    """
    parameters = {"bottom": 0, "top": 100, **more}
    parts = [chart.to_dict(validate=False, context={"top_level": False}) for chart in layers]
    data = [part.pop("data") for part in parts]
    return {
        "data": data[0],
        "width": "container",
        "height": height.to_dict(validate=False) if isinstance(height, alt.Step) else height,
        "params": [{"name": name, "value": value} for name, value in parameters.items()],
        "layer": parts,
    }


def value_axis(unit: str, **options: Any) -> alt.Axis:
    """Per cent beside each label, any other unit once over the axis; fewer labels where there is little room."""
    room = {"tickCount": alt.expr("width < 240 ? 3 : 5"), "labelOverlap": "parity", "labelSeparation": 4}
    if unit == "%":
        return alt.Axis(title=None, labelExpr="datum.label + ' %'", **(room | options))
    return alt.Axis(title=unit or None, **(room | options))


def signed_axis(unit: str) -> alt.Axis:
    """Differences with their sign and unit."""
    return value_axis("", labelExpr=f"(datum.value ? format(datum.value, '+') : '0') + ' {unit}'")


def around_none(
    x: alt.X, figure: str, unit: str, tip: list[alt.Tooltip], height: int, *more: Callable[[alt.Chart], alt.Chart]
) -> dict[str, Any]:
    """Differences (column `figure`, with low and high) around the level line of no difference, which is `zero`.

    `more` add layers over the shown rows.
    """
    base = alt.Chart(ROWS).encode(x=x)
    shown = base.transform_filter(IS_SHOWN)
    return finished(
        (
            base.transform_filter(IS_WITHHELD).mark_rule(style="withheld"),
            alt.Chart(ROWS)
            .mark_rule(style="reference")
            .encode(x=alt.XValue(0), x2=alt.X2Value(alt.expr("width")), y=alt.Y("mean(zero):Q")),
            shown.mark_rule(style="beam-thin").encode(
                y=alt.Y("low:Q", scale=scale(), axis=signed_axis(unit)), y2=alt.Y2("high:Q"), tooltip=tip
            ),
            shown.mark_point(style="bead-small").encode(y=alt.Y(f"{figure}:Q"), tooltip=tip, **OPEN_BEAD),
            *(layer(shown) for layer in more),
        ),
        height,
    )


def age_axis() -> alt.Axis:
    """Age groups upright where the chart is narrow, so that none loses its name."""
    narrow = "width < 440 ? {} : {}"
    return alt.Axis(
        title=None,
        labelOverlap=False,
        labelAngle=alt.expr(narrow.format(-90, 0)),
        labelAlign=alt.expr(narrow.format("'right'", "'center'")),
        labelBaseline=alt.expr(narrow.format("'middle'", "'top'")),
    )


def along_periods(calendar: Sequence[str], axis: alt.Axis, **of_scale: Any) -> dict[str, Any]:
    """The periods from left to right. `calendar`: every period from the first to the last, where some between them have
    no readings and take their room all the same; else nothing, and the rows' own periods follow each other."""
    if not calendar:
        return in_order("period", axis, scale=alt.Scale(**of_scale))
    return in_order("period", axis, scale=alt.Scale(domain=list(calendar), **of_scale)) | {"sort": None}


def period_axis() -> alt.Axis:
    return alt.Axis(title=None, labelAngle=0, labelOverlap="greedy", labelExpr=PERIOD_LABEL)
