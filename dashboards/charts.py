"""Charts as Vega-Lite through Altair: shapes and encodings only, over the rows that chart_parts describes.

A spec depends on its arguments alone and is made once a process; nobody changes it. Colours, type and grid come
from the page's own CSS; assets/charts.js holds every style named here: beam (an interval), bead (a figure; open
where the figure is unreliable), strip (a range of percentiles), track, thread, withheld, reference.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from dashboards.chart_parts import (
    IS_ABSENT,
    IS_FIRM,
    IS_SHOWN,
    IS_UNRELIABLE,
    IS_WITHHELD,
    OPEN_BEAD,
    ROWS,
    Columns,
    Heads,
    age_axis,
    drawn_once,
    finished,
    in_order,
    period_axis,
    scale,
    tooltip,
    value_axis,
)


@drawn_once
def band_beams(columns: Columns, row: str, title: str) -> dict[str, Any]:
    """One row a band: its name, the share written out, and a bead on a beam (share and interval)."""
    base = alt.Chart(ROWS).encode(y=alt.Y(**in_order(row)))
    across = alt.X(
        "low:Q", scale=scale(), axis=value_axis("%")
    )
    shown = base.transform_filter(IS_SHOWN)
    tip = tooltip(((row, title),), columns)
    return finished(
        (
            base.mark_rule(style="track", yOffset=9).encode(x=alt.XValue(0), x2=alt.X2Value(alt.expr("width"))),
            shown.mark_rule(style="beam", yOffset=9).encode(x=across, x2=alt.X2("high:Q"), tooltip=tip),
            shown.mark_point(style="bead", yOffset=9).encode(x=alt.X("share:Q"), tooltip=tip, **OPEN_BEAD),
            base.mark_text(style="name", yOffset=-10, align="left").encode(x=alt.XValue(0), text=alt.Text(f"{row}:N")),
            base.mark_text(style="written", yOffset=-10, align="right").encode(
                x=alt.XValue(alt.expr("width")), text=alt.Text("t0:N")
            ),
        ),
        alt.Step(48),
    )


@drawn_once
def over_periods(columns: Columns, heads: Heads) -> dict[str, Any]:
    """Share by period: a thin line through beads on upright beams."""
    base = alt.Chart(ROWS).encode(
        x=alt.X(**in_order("period", period_axis(), scale=alt.Scale(padding=0.5, type="point")))
    )
    y = alt.Y("low:Q", scale=scale(), axis=value_axis("%", tickCount=4))
    shown = base.transform_filter(IS_SHOWN)
    tip = tooltip(heads, columns)
    return finished(
        (
            base.transform_filter(IS_WITHHELD).mark_rule(style="withheld"),
            shown.mark_line(style="thread").encode(y=alt.Y("share:Q")),
            shown.mark_rule(style="beam-thin").encode(y=y, y2=alt.Y2("high:Q"), tooltip=tip),
            shown.mark_point(style="bead-small").encode(y=alt.Y("share:Q"), tooltip=tip, **OPEN_BEAD),
        ),
        170,
    )


@drawn_once
def over_ages(columns: Columns, heads: Heads) -> dict[str, Any]:
    """Share by age group, female and male side by side, told apart by colour and shape."""
    x = alt.X(
        **in_order(
            "age",
            age_axis(),
            scale=alt.Scale(paddingInner=0.62),
        )
    )
    base = alt.Chart(ROWS).encode(
        x=x, xOffset=alt.XOffset("sex_key:N", scale=alt.Scale(domain=["female", "male"], paddingInner=0.6))
    )
    y = alt.Y("low:Q", scale=scale(), axis=value_axis("%"))
    sex = alt.Color("sex_key:N", scale=alt.Scale(domain=["female", "male"]), legend=None)
    shape = alt.Shape(
        "sex_key:N", scale=alt.Scale(domain=["female", "male"], range=["circle", "square"]), legend=None
    )
    base = base.transform_filter("datum.sex_key != 'all'")
    shown = base.transform_filter(IS_SHOWN)
    tip = tooltip(heads, columns)
    return finished(
        (
            base.transform_filter(IS_WITHHELD).mark_rule(style="withheld"),
            shown.mark_rule(style="beam-sex").encode(y=y, y2=alt.Y2("high:Q"), color=sex, tooltip=tip),
            base.transform_filter(IS_FIRM)
            .mark_point(style="bead-sex")
            .encode(y=alt.Y("share:Q"), color=sex, shape=shape, tooltip=tip),
            base.transform_filter(IS_UNRELIABLE)
            .mark_point(style="bead-sex")
            .encode(
                y=alt.Y("share:Q"),
                fill=alt.FillValue("var(--sheet)"),
                stroke=alt.Stroke("sex_key:N", scale=alt.Scale(domain=["female", "male"]), legend=None),
                shape=shape,
                tooltip=tip,
            ),
        ),
        240,
    )


@drawn_once
def band_beams_beside(columns: Columns, heads: Heads) -> dict[str, Any]:
    """As `band_beams` for one site, with a hollow diamond where all sites together stand."""
    base = alt.Chart(ROWS).encode(y=alt.Y(**in_order("band")))
    across = alt.X(
        "low:Q", scale=scale(), axis=value_axis("%")
    )
    here, overall = "datum.site_key != ''", "datum.site_key == ''"
    shown, tip = base.transform_filter(IS_SHOWN), tooltip(heads, columns)
    return finished(
        (
            base.transform_filter(here)
            .mark_rule(style="track", yOffset=9)
            .encode(x=alt.XValue(0), x2=alt.X2Value(alt.expr("width"))),
            shown.transform_filter(here)
            .mark_rule(style="beam", yOffset=9)
            .encode(x=across, x2=alt.X2("high:Q"), tooltip=tip),
            shown.transform_filter(here)
            .mark_point(style="bead", yOffset=9)
            .encode(x=alt.X("share:Q"), tooltip=tip, **OPEN_BEAD),
            shown.transform_filter(overall)
            .mark_point(style="diamond", yOffset=9, shape="diamond")
            .encode(x=alt.X("share:Q"), tooltip=tip),
            base.transform_filter(here)
            .mark_text(style="name", yOffset=-10, align="left")
            .encode(x=alt.XValue(0), text=alt.Text("band:N")),
            base.transform_filter(here)
            .mark_text(style="written", yOffset=-10, align="right")
            .encode(x=alt.XValue(alt.expr("width")), text=alt.Text("t0:N")),
        ),
        alt.Step(48),
    )


@drawn_once
def site_beams(columns: Columns, heads: Heads) -> dict[str, Any]:
    """One row a site around the upright line of all sites (the row whose key is empty)."""
    y = alt.Y(**in_order("site", alt.Axis(title=None, labelLimit=190, ticks=False, domain=False)))
    base = alt.Chart(ROWS)
    x = alt.X(
        "low:Q",
        scale=scale(),
        axis=value_axis("%", orient="top"),
    )
    shown = base.transform_filter(IS_SHOWN)
    overall = shown.transform_filter("datum.site_key == ''")
    each = shown.transform_filter("datum.site_key != ''")
    tip = tooltip(heads, columns)
    return finished(
        (
            overall.mark_rect(style="reference-band").encode(x=x, x2=alt.X2("high:Q")),
            overall.mark_rule(style="reference").encode(x=alt.X("share:Q")),
            each.mark_rule(style="beam-thin").encode(y=y, x=x, x2=alt.X2("high:Q"), tooltip=tip),
            each.mark_point(style="bead-small").encode(y=y, x=alt.X("share:Q"), tooltip=tip, **OPEN_BEAD),
            base.transform_filter(f"({IS_WITHHELD}) || datum.state == '-'")
            .mark_text(style="note", align="left")
            .encode(y=y, x=alt.XValue(4), text=alt.Text("t0:N")),
        ),
        alt.Step(22),
    )


@drawn_once
def nested_strips(columns: Columns, along: str, title: str, unit: str) -> dict[str, Any]:
    """Percentiles of each group as strips in each other: 3–97, 10–90, 25–75, and a bead for the middle."""
    axis = period_axis() if along == "period" else age_axis()
    base = alt.Chart(ROWS).encode(
        x=alt.X(**in_order(along, axis, scale=alt.Scale(padding=0.5, type="point")))
    )
    y_axis = alt.Axis(
        title=unit or None, titleAngle=0, titleAlign="left", titleAnchor="end", titleY=-16, titleX=-34
    )
    shown = base.transform_filter(IS_SHOWN)
    tip = tooltip(((along, title),), columns)

    def strip(style: str, low: str, high: str) -> alt.Chart:
        return shown.mark_rule(style=style).encode(
            y=alt.Y(f"{low}:Q", scale=scale(), axis=y_axis), y2=alt.Y2(f"{high}:Q"), tooltip=tip
        )

    return finished(
        (
            base.transform_filter(IS_ABSENT).mark_rule(style="withheld"),
            strip("strip-outer", "p3", "p97"),
            strip("strip-wide", "p10", "p90"),
            strip("strip-middle", "p25", "p75"),
            shown.mark_point(style="bead-over").encode(y=alt.Y("p50:Q"), tooltip=tip),
        ),
        300,
    )


@drawn_once
def bars(columns: Columns, row: str, heads: Heads) -> dict[str, Any]:
    """Plain bars of shares from zero, one row each."""
    y = alt.Y(**in_order(row, alt.Axis(title=None, labelLimit=190, ticks=False, domain=False)))
    x = alt.X(
        "share:Q",
        scale=scale(),
        axis=value_axis("%", tickCount=3, orient="top"),
    )
    base = alt.Chart(ROWS)
    return finished(
        (
            base.transform_filter(IS_SHOWN)
            .mark_bar(style="bar")
            .encode(x=x, y=y, tooltip=tooltip(heads, columns)),
            base.transform_filter(f"!({IS_SHOWN}) || datum.share == 0")
            .mark_text(style="note", align="left")
            .encode(x=alt.XValue(4), y=y, text=alt.Text("t0:N")),
        ),
        alt.Step(22),
    )


@drawn_once
def named_bars(columns: Columns, row: str, title: str) -> dict[str, Any]:
    """Bars of shares from zero, each under its name, for names too long to stand beside."""
    base = alt.Chart(ROWS).encode(y=alt.Y(**in_order(row)))
    x = alt.X(
        "share:Q", scale=scale(), axis=value_axis("%", tickCount=4)
    )
    return finished(
        (
            base.mark_rule(style="track", yOffset=9).encode(x=alt.XValue(0), x2=alt.X2Value(alt.expr("width"))),
            base.transform_filter(IS_SHOWN)
            .mark_bar(style="bar", yOffset=9, height=8)
            .encode(x=x, tooltip=tooltip(((row, title),), columns)),
            base.mark_text(style="name", yOffset=-10, align="left", limit=alt.expr("width - 70")).encode(
                x=alt.XValue(0), text=alt.Text(f"{row}:N")
            ),
            base.mark_text(style="written", yOffset=-10, align="right").encode(
                x=alt.XValue(alt.expr("width")), text=alt.Text("t0:N")
            ),
        ),
        alt.Step(44),
    )


@drawn_once
def people_by_period(columns: Columns, heads: Heads) -> dict[str, Any]:
    """How many people were measured, a column a period."""
    base = alt.Chart(ROWS).encode(
        x=alt.X(**in_order("period", period_axis(), scale=alt.Scale(paddingInner=0.35)))
    )
    base = base.transform_filter("datum.sex_key == 'all'")
    y = alt.Y("people:Q", scale=scale(), axis=alt.Axis(title=None, tickCount=4))
    return finished(
        (
            base.transform_filter(IS_ABSENT).mark_rule(style="withheld"),
            base.transform_filter(IS_SHOWN)
            .mark_bar(style="bar")
            .encode(y=y, tooltip=tooltip(heads, columns)),
            base.transform_filter(IS_SHOWN)
            .mark_text(
                style="written",
                align="center",
                baseline="bottom",
                dy=-4,
                opacity=alt.expr("width < 560 ? 0 : 1"),
            )
            .encode(y=y, text=alt.Text("t0:N")),
        ),
        180,
    )
