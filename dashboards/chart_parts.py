"""What charts share: rows, order, scale, axes, tooltip, and the finishing of a spec.

Rows arrive from the page's script under the name "rows": one field a dimension (its label), `<dimension>_key`,
`at` (reading order), `state`, each figure in the unit that is read, and `t0`, `t1` … the texts of the table, for
the tooltip.

A spec is Vega-Lite as it stands, shapes and encodings only: a dict made by the few words below. It depends on its
arguments alone and nobody changes it, so each is drawn once a process, under `@cache`. What a spec is made of does not
come from data: the tests hold each kind of chart to the schema of the grammar, not the pages.

Colours, type and grid come from the page's own CSS; assets/charts.js holds every style named in a chart: beam (an
interval), bead (a figure; open where the figure is unreliable), strip (a range of percentiles), track, thread,
withheld, reference.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboards.figures import TableColumn

Part = dict[str, Any]
Columns = tuple[TableColumn, ...]
Heads = tuple[tuple[str, str], ...]
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


def layer(mark: str, channels: Part, *rows: str | Part, **look: Any) -> Part:
    """A mark over the rows of the page; `rows` says which (a test) or what to work out of each (`worked_out`) first."""
    made = {"mark": {"type": mark, **look}, "encoding": channels}
    if rows:
        made["transform"] = [{"filter": one} if isinstance(one, str) else one for one in rows]
    return made


def worked_out(name: str, expression: str) -> Part:
    """A field made of others, for the layers that read it."""
    return {"calculate": expression, "as": name}


def expr(expression: str) -> Part:
    return {"expr": expression}


def number(field: str, **options: Any) -> Part:
    return {"field": field, "type": "quantitative", **options}


def mean_of(field: str) -> Part:
    return number(field, aggregate="mean")


def words(field: str, **options: Any) -> Part:
    return {"field": field, "type": "nominal", **options}


def far_end(field: str) -> Part:
    """The other end of a beam or strip: it has the type of the first."""
    return {"field": field}


def fixed(value: Any) -> Part:
    """A place in pixels, or a look, that no row decides."""
    return {"value": value}


WIDTH, HEIGHT = expr("width"), expr("height")
LEFT_TO_RIGHT = {"x": fixed(0), "x2": fixed(WIDTH)}


def either(test: str, then: str, otherwise: str) -> Part:
    """One of two looks, by a test of the row."""
    return {"condition": {"test": test, "value": then}, "value": otherwise}


# an unreliable figure is an open bead: there to be seen, not to be leaned on
OPEN_BEAD = {
    "fill": either(IS_UNRELIABLE, "var(--sheet)", "var(--mark)"),
    "stroke": either(IS_UNRELIABLE, "var(--mark)", "var(--sheet)"),
}


def tooltip(heads: Heads, columns: Columns) -> list[Part]:
    return [words(field, title=title) for field, title in heads] + [
        words(f"t{i}", title=column.label) for i, column in enumerate(columns)
    ]


def in_order(field: str, axis: Part | None = None, **options: Any) -> Part:
    return words(field, sort={"field": "at", "op": "min", "order": "ascending"}, axis=axis, **options)


def scale() -> Part:
    """One scale for a view; the script sets its ends from the figures shown."""
    return {"domain": [expr("bottom"), expr("top")], "nice": True, "zero": False}


def step(pixels: int) -> Part:
    """A height of so many pixels a row."""
    return {"step": pixels}


def finished(layers: Sequence[Part], height: int | Part, **more: float) -> Part:
    """The spec of layers over the rows, with the parameters that the script sets: the ends of the scale, and `more`
    with first values."""
    parameters = {"bottom": 0, "top": 100, **more}
    return {
        "data": {"name": "rows"},
        "width": "container",
        "height": height,
        "params": [{"name": name, "value": value} for name, value in parameters.items()],
        "layer": list(layers),
    }


def axis(title: str | None = None, **options: Any) -> Part:
    return {"title": title, **options}


BARE = {"ticks": False, "domain": False}


def value_axis(unit: str, **options: Any) -> Part:
    """Per cent beside each label, any other unit once over the axis; fewer labels where there is little room."""
    room = {"tickCount": expr("width < 240 ? 3 : 5"), "labelOverlap": "parity", "labelSeparation": 4}
    if unit == "%":
        return axis(labelExpr="datum.label + ' %'", **(room | options))
    return axis(unit or None, **(room | options))


def upright_title(unit: str) -> Part:
    """The unit over the axis, where it is read without turning the head."""
    return {"title": unit or None, "titleAngle": 0, "titleAlign": "left", "titleAnchor": "end", "titleY": -16,
            "titleX": -34}  # fmt: skip


def signed_axis(unit: str) -> Part:
    """Differences with their sign and unit."""
    return value_axis("", labelExpr=f"(datum.value ? format(datum.value, '+') : '0') + ' {unit}'")


def around_none(x: Part, figure: str, unit: str, tip: list[Part], height: int, *more: Part) -> Part:
    """Differences (column `figure`, with low and high) around the level line of no difference, which is `zero`.

    `more` are layers over that.
    """
    low = number("low", scale=scale(), axis=signed_axis(unit))
    return finished(
        (
            layer("rule", {"x": x}, IS_WITHHELD, style="withheld"),
            layer("rule", {**LEFT_TO_RIGHT, "y": mean_of("zero")}, style="reference"),
            layer("rule", {"x": x, "y": low, "y2": far_end("high"), "tooltip": tip}, IS_SHOWN, style="beam-thin"),
            layer("point", {"x": x, "y": number(figure), "tooltip": tip, **OPEN_BEAD}, IS_SHOWN, style="bead-small"),
            *more,
        ),
        height,
    )


def age_axis() -> Part:
    """Age groups upright where the chart is narrow, so that none loses its name."""
    narrow = "width < 440 ? {} : {}"
    return axis(
        labelOverlap=False,
        labelAngle=expr(narrow.format(-90, 0)),
        labelAlign=expr(narrow.format("'right'", "'center'")),
        labelBaseline=expr(narrow.format("'middle'", "'top'")),
    )


def period_axis() -> Part:
    return axis(labelAngle=0, labelOverlap="greedy", labelExpr=PERIOD_LABEL)
