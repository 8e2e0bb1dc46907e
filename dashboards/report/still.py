"""A figure of the pages, standing still: its rows for one choice, and its chart as an SVG picture.

The pages draw the same specification in the reader's browser (assets/cells.js and charts.js). The rows, the ends of
the scale and the styles here are theirs; a test holds the two to the same rows.
"""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Mapping, Sequence
from itertools import product
from typing import Any

import vl_convert

from dashboards.cubes import PUBLISHED, UNRELIABLE, Cube
from dashboards.figures import Figure, cell_text, keys_along
from dashboards.numbers import marks
from dashboards.report.print_theme import COLOURS, print_config

Row = dict[str, Any]
STEP_ON_PAPER, HEIGHT_ON_PAPER = 0.69, 0.66  # of a row and of a chart on a screen
VEGA_LITE = "6.4"  # the release of the grammar that Altair 6 writes


def still_rows(figure: Figure, cube: Cube) -> list[Row]:
    """The rows a chart is drawn from: labels and keys, figures in the unit that is read, table texts, reading order.

    The figure must be settled.
    """
    rows = []
    for place, keys in enumerate(product(*(keys_along(figure, cube, name, {}) for name in figure.along))):
        here = dict(zip(figure.along, keys, strict=True))
        cell = cube.cell({**figure.fixed, **here})
        row: Row = {"state": cell["state"], "at": place}
        for name in cube.columns:
            row[name] = None if cell[name] is None else cell[name] / 10 ** cube.decimals[name]
        for name, key in here.items():
            row[name], row[f"{name}_key"] = cube.dimension(name).label(key), key
        for i, column in enumerate(figure.columns):
            row[f"t{i}"] = cell_text(column, cell, cube.decimals, figure.none)
        rows.append(row)
    return rows


def still_charts(figure: Figure, cube: Cube, width: int) -> list[tuple[str, str]]:
    """(title, SVG) of each panel; one panel without a title where the figure has none, and none where no row of it
    can be shown. `width` in points.

    The same figure gives the same bytes.
    """
    rows = still_rows(figure, cube)
    if not _shown(rows):
        return []
    panels = _panels(figure, rows)
    ends = _ends(figure, [part for _, part in panels])
    widest = max([1, *(row["people"] for row in _shown(rows) if row.get("people") is not None)])
    return [
        (title, _drawn(figure, part, width, {**end, "widest": widest}))
        for (title, part), end in zip(panels, ends, strict=True)
    ]


def _shown(rows: Sequence[Row]) -> list[Row]:
    return [row for row in rows if row["state"] in (PUBLISHED, UNRELIABLE)]


def _panels(figure: Figure, rows: list[Row]) -> list[tuple[str, list[Row]]]:
    if figure.panels is None:
        return [("", rows)]
    keys = dict.fromkeys((row[f"{figure.panels}_key"], row[figure.panels]) for row in rows)
    return [
        (title, [row for row in rows if row[f"{figure.panels}_key"] == key])
        for key, title in keys
        if key not in figure.instead
    ]


def _ends(figure: Figure, panels: Sequence[Sequence[Row]]) -> list[dict[str, float]]:
    """The ends of each panel's scale: from zero, common to all, or one span around each panel's own figures."""
    spans = []
    for rows in panels:
        values = [row[name] for row in _shown(rows) for name in figure.extent if row[name] is not None]
        spans.append((min(values), max(values)) if values else None)
    known = [span for span in spans if span is not None]
    if figure.is_one_scale and known:
        bottom, top = min(low for low, _ in known), max(high for _, high in known)
        return [{"bottom": bottom, "top": top if top > bottom else bottom + 1}] * len(panels)
    if figure.is_from_zero:
        return [{"bottom": 0, "top": max([0, *(high for _, high in known)]) or 100}] * len(panels)
    most = 100 if any(column.is_percent for column in figure.columns) else math.inf  # no share is over 100 %
    reach = min(most, max([0, *(high - low for low, high in known)]) * 1.15 or 1)
    ends = []
    for span in spans:
        middle = (span[0] + span[1]) / 2 - reach / 2 if span else 0
        bottom = min(max(0, middle) if span and span[0] >= 0 else middle, most - reach)
        ends.append({"bottom": bottom, "top": bottom + reach})
    return ends


def _drawn(figure: Figure, rows: list[Row], width: int, params: Mapping[str, float]) -> str:
    spec = copy.deepcopy(figure.spec)
    spec["datasets"] = {"rows": rows}
    spec["width"] = width
    if isinstance(spec["height"], dict):  # a height in rows
        name = next(dimension for dimension in figure.along if dimension != figure.panels)
        step = round(spec["height"]["step"] * STEP_ON_PAPER)
        spec["height"] = step * len({row[f"{name}_key"] for row in rows})
    else:
        spec["height"] = round(spec["height"] * HEIGHT_ON_PAPER)
    for param in spec["params"]:
        param["value"] = params.get(param["name"], param["value"])
    text = json.dumps(spec)
    for name, colour in COLOURS.items():  # a specification names the colours of page.css
        text = text.replace(f"var(--{name})", colour)
    signs = marks()
    return vl_convert.vegalite_to_svg(
        _without_tooltips(json.loads(text)),
        vl_version=VEGA_LITE,
        config=print_config(),
        format_locale={"decimal": signs.decimal, "thousands": signs.thousands, "minus": signs.minus, "grouping": [3],
                       "currency": ["", ""]},
    )  # fmt: skip


def _without_tooltips(part: Any) -> Any:
    """Paper has none, and an SVG would carry them as text."""
    if isinstance(part, dict):
        return {key: _without_tooltips(value) for key, value in part.items() if key != "tooltip"}
    if isinstance(part, list):
        return [_without_tooltips(value) for value in part]
    return part
