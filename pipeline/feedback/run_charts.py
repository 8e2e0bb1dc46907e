"""Runs as pictures: how long each step took, and what became of the rows. Still SVGs in the colours of page.css."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import polars as pl
import vl_convert

VEGA_LITE = "6.4"  # the release of the grammar that Altair 6 writes
WIDTHS = {"wide": 460, "narrow": 225}  # pixels of a plot, beside its axis
HEIGHT = 190
_COLOURS = ["var(--mark)", "var(--second)", "var(--haze)", "var(--soft)", "var(--ink)", "var(--line)"]


def run_charts(rows: Sequence[dict[str, Any]], *, of: str, unit: str, order: Sequence[str]) -> dict[str, str]:
    """`rows` of run_id, part and n as stacked bars, a bar a run, oldest first; one SVG for each of WIDTHS.

    Colours stand as names of page.css, so that light, dark and print need no picture of their own.
    """
    parts = [part for part in order if any(row["part"] == part for row in rows)]
    frame = pl.DataFrame(
        [{**row, "run_id": str(row["run_id"]), "place": parts.index(row["part"])} for row in rows]
    )
    bars = (
        alt.Chart(frame)
        .mark_bar(stroke="var(--sheet)", strokeWidth=0.5)
        .encode(
            x=alt.X(
                "run_id:N",
                sort=[str(run_id) for run_id in sorted({row["run_id"] for row in rows})],
                axis=alt.Axis(title="run", labelAngle=0, labelOverlap="greedy", labelSeparation=6, ticks=False,
                              domain=False),
            ),
            y=alt.Y(
                "n:Q",
                stack="zero",
                axis=alt.Axis(title=unit, tickCount=4, format="~s" if unit == "rows" else "~f", domain=False),
            ),
            color=alt.Color(
                "part:N",
                scale=alt.Scale(domain=parts, range=_COLOURS[: len(parts)]),
                legend=alt.Legend(title=of, orient="bottom", columns=3, symbolType="square"),
            ),
            order=alt.Order("place:Q"),
        )
    )
    return {name: _drawn(bars.properties(width=width, height=HEIGHT)) for name, width in WIDTHS.items()}


def _drawn(chart: alt.Chart) -> str:
    words = {"labelColor": "var(--soft)", "titleColor": "var(--soft)", "titleFontWeight": "normal"}
    axis = {**words, "labelFontSize": 12, "titleFontSize": 12, "gridColor": "var(--line)", "tickColor": "var(--line)"}
    return vl_convert.vegalite_to_svg(
        chart.to_dict(),
        vl_version=VEGA_LITE,
        config={
            "background": "transparent",
            "view": {"stroke": None},
            "font": "system-ui, sans-serif",
            "axis": axis,
            "legend": {**words, "labelFontSize": 12, "titleFontSize": 12, "labelLimit": 200},
        },
    )
