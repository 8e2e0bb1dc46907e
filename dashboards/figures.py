"""A figure: one question, its cells of a cube, its chart, its table, its sentence for every choice of the controls.

Python writes the first view (it is all there without JavaScript); assets/cells.js and charts.js write every other one
from the same declaration. tests/dashboards/test_in_the_browser.py compares the two, cell by cell.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import product
from typing import Any

from dashboards.cubes import NO_ROW, UNRELIABLE, WITHHELD, Cube
from dashboards.numbers import PERCENT_DECIMALS, marks, written
from dashboards.wording import TEXT


@dataclass(frozen=True)
class Control:
    """One choice of the reader; its key stands in the page's address."""

    name: str
    options: tuple[tuple[str, str], ...]
    default: str

    @property
    def label(self) -> str:
        return TEXT[f"control.{self.name}"]


@dataclass(frozen=True)
class TableColumn:
    """One column of figures.

    kind   value: of[0]; interval: of[0] to of[1];
           value_interval: of[0], and under it (of[1] to of[2]);
           p: of[0], a p-value, "< 0.001" where it rounds to nothing; word: words[of[0]]
    `missing` is what a row says that is published without this figure; `is_marked` puts the word for an
    unreliable row beside this figure.
    """

    label: str
    kind: str
    of: tuple[str, ...]
    is_percent: bool = False
    is_marked: bool = False
    missing: str = field(default_factory=lambda: TEXT["withheld"])
    words: tuple[str, ...] = ()


def share_columns() -> tuple[TableColumn, ...]:
    return (
        TableColumn(TEXT["column.share"], "value", ("share",), is_percent=True, is_marked=True),
        TableColumn(TEXT["column.interval"], "interval", ("low", "high"), is_percent=True),
        TableColumn(TEXT["column.n"], "value", ("n",)),
        TableColumn(TEXT["column.people"], "value", ("people",)),
    )


@dataclass(frozen=True)
class Figure:
    """`along` are the dimensions that are rows of the table; `picks` those set by controls; `fixed` the rest.

    `only` narrows a dimension's keys; `chosen` lets a control narrow them: dimension → (control, its key → keys);
    `tabled` narrows the table alone, for a chart of more points than anyone reads as numbers. `panels` names the
    dimension of `along` that makes one small chart each, `instead` says why a panel has no chart. A figure without
    a spec is a table.
    """

    id: str
    question: str
    cube: str
    along: tuple[str, ...]
    spec: dict[str, Any] | None
    columns: tuple[TableColumn, ...]
    source: str
    headline: Callable[[dict[str, str]], str]
    picks: tuple[str, ...] = ()
    fixed: Mapping[str, str] = field(default_factory=dict)
    only: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    chosen: Mapping[str, tuple[str, Mapping[str, tuple[str, ...]]]] = field(default_factory=dict)
    tabled: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    panels: str | None = None
    instead: Mapping[str, str] = field(default_factory=dict)  # panel key → why it has no chart
    notes: tuple[str, ...] = ()
    order: str | None = None  # the control that orders the rows, by name or by people measured
    extent: tuple[str, ...] = ("low", "high")  # the columns that the common scale must hold
    is_from_zero: bool = True
    is_one_scale: bool = False  # panels share one scale, though not from zero
    none: str = field(default_factory=lambda: TEXT["none"])  # what a cell without a row means
    is_folded: bool = False  # its table opens on request
    is_wide: bool = False  # chart above its table, both over the full width
    links: Mapping[str, str] = field(
        default_factory=dict
    )  # row key → page, for the first dimension of `along`


def keys_along(figure: Figure, cube: Cube, dimension: str, state: Mapping[str, str]) -> tuple[str, ...]:
    if dimension in figure.chosen:
        control, keys = figure.chosen[dimension]
        return keys[state[control]]
    return figure.only.get(dimension, cube.dimension(dimension).keys)


def table_rows(figure: Figure, cube: Cube, state: Mapping[str, str]) -> list[dict[str, Any]]:
    """The rows of the table for one choice: {"heads": [text], "cells": [text], "state": letter, "link": page}.

    A row without figures has one cell, the word for why.
    """
    at = {**figure.fixed, **{name: state[name] for name in figure.picks}}
    dimensions = [cube.dimension(name) for name in figure.along]
    keys_shown = [
        [key for key in keys_along(figure, cube, name, state) if key in figure.tabled.get(name, (key,))]
        for name in figure.along
    ]
    *_, last = dimensions
    rows = []
    for first in product(*keys_shown[:-1]):
        heads = [axis.label(key) for axis, key in zip(dimensions, first, strict=False)]
        cells = cube.line(last.name, {**at, **dict(zip(figure.along, first, strict=False))})
        for key in keys_shown[-1]:
            cell = cells[last.places[key]]
            rows.append(
                {
                    "heads": [*heads, last.label(key)],
                    "cells": [figure.none]
                    if cell["state"] == NO_ROW
                    else [cell_text(column, cell, cube.decimals, figure.none) for column in figure.columns],
                    "state": cell["state"],
                    "link": figure.links.get(first[0] if first else key),
                }
            )
    return rows


def cell_text(column: TableColumn, cell: Mapping[str, Any], decimals: Mapping[str, int], none: str) -> str:
    """What a table says in one place: figures, or the word for why there are none."""
    state, kind, values = cell["state"], column.kind, [cell[name] for name in column.of]
    if state == NO_ROW:
        return none
    if state == WITHHELD:
        return TEXT["withheld"]
    if values[0] is None and kind != "interval":
        return column.missing
    if kind == "word":
        return column.words[values[0]]
    if kind == "p" and values[0] == 0:
        return TEXT["p.small"]
    sign = "\u00a0%" if column.is_percent else ""
    if kind in ("value", "p"):
        mark = f" ({TEXT['unreliable']})" if state == UNRELIABLE and column.is_marked else ""
        return written(values[0], decimals[column.of[0]]) + sign + mark
    words = [
        TEXT["no_limit"] if value is None else written(value, decimals[name])
        for name, value in zip(column.of, values, strict=True)
    ]
    if kind == "interval":
        return TEXT["no_interval"] if values == [None, None] else words[0] + marks().range + words[1] + sign
    return f"{words[0]}\n({words[1]}{marks().range}{words[2]})"


def figure_json(figure: Figure, cube: Cube, controls: Mapping[str, Control]) -> dict[str, Any]:
    """The declaration for the page's script, with a sentence for every choice, in the order of `picks`."""
    choices = [[key for key, _ in controls[name].options] for name in figure.picks]
    headlines = {
        "|".join(keys): figure.headline(dict(zip(figure.picks, keys, strict=True)))
        for keys in product(*choices)
    }
    return {
        "id": figure.id,
        "cube": figure.cube,
        "along": figure.along,
        "picks": figure.picks,
        "fixed": figure.fixed,
        "only": {
            name: figure.only.get(name, cube.dimension(name).keys)
            for name in figure.along
            if name not in figure.chosen
        },
        "chosen": {
            name: {"control": control, "keys": keys} for name, (control, keys) in figure.chosen.items()
        },
        "tabled": figure.tabled,
        "panels": figure.panels,
        "instead": figure.instead,
        "order": figure.order,
        "extent": figure.extent,
        "fromZero": figure.is_from_zero,
        "oneScale": figure.is_one_scale,
        "columns": [
            {
                "kind": c.kind,
                "of": c.of,
                "sign": "\u00a0%" if c.is_percent else "",
                "label": c.label,
                "missing": c.missing,
                "isMarked": c.is_marked,
                "words": c.words,
            }
            for c in figure.columns
        ],
        "none": figure.none,
        "headlines": headlines,
        "links": figure.links,
        "spec": figure.spec,
    }


WORDS_OF_SCRIPT = (
    "withheld", "no_limit", "no_interval", "p.small", "unreliable", "chart.alt", "chart.failed", "chart.none",
)  # fmt: skip


def page_json(
    cubes: Mapping[str, Cube], controls: Mapping[str, Control], figures: list[Figure]
) -> dict[str, Any]:
    """All that a page's script needs, once."""
    return {
        "locale": marks().as_json(),
        "words": {key: TEXT[key] for key in WORDS_OF_SCRIPT},
        "controls": [
            {"name": c.name, "keys": [key for key, _ in c.options], "default": c.default}
            for c in controls.values()
        ],
        "cubes": {name: cube.as_json() for name, cube in cubes.items()},
        "figures": [figure_json(f, cubes[f.cube], controls) for f in figures],
    }


def share_scale() -> dict[str, int]:
    """Steps and decimals of a proportion shown in per cent."""
    return {"steps_per_unit": 100 * 10**PERCENT_DECIMALS, "decimals": PERCENT_DECIMALS}
