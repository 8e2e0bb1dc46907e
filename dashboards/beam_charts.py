"""Charts of shares, one row each: a bead on the beam of its interval, alone or with a diamond to compare it with.

Over the rows that chart_parts describes; the styles are in assets/charts.js.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from dashboards.chart_parts import (
    IS_SHOWN,
    OPEN_BEAD,
    ROWS,
    Columns,
    Heads,
    drawn_once,
    finished,
    in_order,
    scale,
    tooltip,
    value_axis,
)


@drawn_once
def band_beams(columns: Columns, row: str, title: str) -> dict[str, Any]:
    """One row a band: its name, the share written out, and a bead on a beam (share and interval)."""
    base = alt.Chart(ROWS).encode(y=alt.Y(**in_order(row)))
    across = alt.X("low:Q", scale=scale(), axis=value_axis("%"))
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
def band_beams_beside(columns: Columns, heads: Heads) -> dict[str, Any]:
    """As `band_beams` for one site, with a hollow diamond where all sites together stand."""
    base = alt.Chart(ROWS).encode(y=alt.Y(**in_order("band")))
    across = alt.X("low:Q", scale=scale(), axis=value_axis("%"))
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
def two_shares(columns: Columns, heads: Heads, name: str, keys: tuple[str, ...]) -> dict[str, Any]:
    """One row a band: its share at the first key of the dimension `name` as a bead, under it that at the second as a
    diamond, each on its beam. Without a second key the beads stand alone."""
    base = alt.Chart(ROWS).encode(y=alt.Y(**in_order("band")))
    across = alt.X("low:Q", scale=scale(), axis=value_axis("%"))
    tip = tooltip(heads, columns)
    first, second = (
        base.transform_filter(alt.FieldEqualPredicate(field=f"{name}_key", equal=key)) for key in (*keys, "")[:2]
    )
    first_shown, second_shown = first.transform_filter(IS_SHOWN), second.transform_filter(IS_SHOWN)
    return finished(
        (
            first.mark_rule(style="track", yOffset=10).encode(
                x=alt.XValue(0), x2=alt.X2Value(alt.expr("width"))
            ),
            first_shown.mark_rule(style="beam-thin", yOffset=4).encode(x=across, x2=alt.X2("high:Q"), tooltip=tip),
            second_shown.mark_rule(style="beam-thin", yOffset=16).encode(
                x=across, x2=alt.X2("high:Q"), tooltip=tip
            ),
            first_shown.mark_point(style="bead-small", yOffset=4).encode(
                x=alt.X("share:Q"), tooltip=tip, **OPEN_BEAD
            ),
            second_shown.mark_point(style="diamond", shape="diamond", yOffset=16).encode(
                x=alt.X("share:Q"), tooltip=tip
            ),
            first.mark_text(style="name", yOffset=-13, align="left").encode(x=alt.XValue(0), text=alt.Text("band:N")),
            first.mark_text(style="written", yOffset=-13, align="right").encode(
                x=alt.XValue(alt.expr("width")), text=alt.Text("t0:N")
            ),
        ),
        alt.Step(60),
    )


@drawn_once
def beside_reference(columns: Columns, title: str) -> dict[str, Any]:
    """One row a centile of a reference: the share below it as a bead on its beam, a diamond where the reference
    has it."""
    base = alt.Chart(ROWS).encode(y=alt.Y(**in_order("centile")))
    across = alt.X("low:Q", scale=scale(), axis=value_axis("%"))
    shown, tip = base.transform_filter(IS_SHOWN), tooltip((("centile", title),), columns)
    return finished(
        (
            base.mark_rule(style="track", yOffset=9).encode(x=alt.XValue(0), x2=alt.X2Value(alt.expr("width"))),
            shown.mark_rule(style="beam", yOffset=9).encode(x=across, x2=alt.X2("high:Q"), tooltip=tip),
            shown.mark_point(style="bead", yOffset=9).encode(x=alt.X("share:Q"), tooltip=tip, **OPEN_BEAD),
            shown.mark_point(style="diamond", yOffset=9, shape="diamond").encode(
                x=alt.X("expected:Q"), tooltip=tip
            ),
            base.mark_text(style="name", yOffset=-10, align="left").encode(x=alt.XValue(0), text=alt.Text("centile:N")),
            base.mark_text(style="written", yOffset=-10, align="right").encode(
                x=alt.XValue(alt.expr("width")), text=alt.Text("t0:N")
            ),
        ),
        alt.Step(48),
    )
