"""Charts of shares, one row each: a bead on the beam of its interval, alone or with a diamond to compare it with.

Over the rows that chart_parts describes; the styles are in assets/charts.js.
"""

from __future__ import annotations

from functools import cache

from dashboards.chart_parts import (
    IS_SHOWN,
    LEFT_TO_RIGHT,
    OPEN_BEAD,
    WIDTH,
    Columns,
    Heads,
    Part,
    far_end,
    finished,
    fixed,
    in_order,
    layer,
    number,
    scale,
    step,
    tooltip,
    value_axis,
    words,
)


def _named(row: str) -> tuple[Part, Part]:
    """What stands over a beam: the name of its row at the left, the figure at the right."""
    return {"x": fixed(0), "text": words(row)}, {"x": fixed(WIDTH), "text": words("t0")}


def _across() -> Part:
    """From the low end of an interval to its high end, in per cent."""
    return {"x": number("low", scale=scale(), axis=value_axis("%")), "x2": far_end("high")}


@cache
def band_beams(columns: Columns, row: str, title: str) -> Part:
    """One row a band: its name, the share written out, and a bead on a beam (share and interval)."""
    y, tip, (name, figure) = in_order(row), tooltip(((row, title),), columns), _named(row)
    bead = {"y": y, "x": number("share"), "tooltip": tip, **OPEN_BEAD}
    return finished(
        (
            layer("rule", {"y": y, **LEFT_TO_RIGHT}, style="track", yOffset=9),
            layer("rule", {"y": y, **_across(), "tooltip": tip}, IS_SHOWN, style="beam", yOffset=9),
            layer("point", bead, IS_SHOWN, style="bead", yOffset=9),
            layer("text", {"y": y, **name}, style="name", yOffset=-10, align="left"),
            layer("text", {"y": y, **figure}, style="written", yOffset=-10, align="right"),
        ),
        step(48),
    )


@cache
def band_beams_beside(columns: Columns, heads: Heads) -> Part:
    """As `band_beams` for one site, with a hollow diamond where all sites together stand."""
    y, tip, (name, figure) = in_order("band"), tooltip(heads, columns), _named("band")
    here, overall = "datum.site_key != ''", "datum.site_key == ''"
    share = {"y": y, "x": number("share"), "tooltip": tip}
    return finished(
        (
            layer("rule", {"y": y, **LEFT_TO_RIGHT}, here, style="track", yOffset=9),
            layer("rule", {"y": y, **_across(), "tooltip": tip}, IS_SHOWN, here, style="beam", yOffset=9),
            layer("point", {**share, **OPEN_BEAD}, IS_SHOWN, here, style="bead", yOffset=9),
            layer("point", share, IS_SHOWN, overall, style="diamond", yOffset=9, shape="diamond"),
            layer("text", {"y": y, **name}, here, style="name", yOffset=-10, align="left"),
            layer("text", {"y": y, **figure}, here, style="written", yOffset=-10, align="right"),
        ),
        step(48),
    )


@cache
def two_shares(columns: Columns, heads: Heads, name: str, keys: tuple[str, ...]) -> Part:
    """One row a band: its share at the first key of the dimension `name` as a bead, under it that at the second as a
    diamond, each on its beam. Without a second key the beads stand alone."""
    y, tip, (band, figure) = in_order("band"), tooltip(heads, columns), _named("band")
    first, second = ({"filter": {"field": f"{name}_key", "equal": key}} for key in (*keys, "")[:2])
    beam, share = {"y": y, **_across(), "tooltip": tip}, {"y": y, "x": number("share"), "tooltip": tip}
    return finished(
        (
            layer("rule", {"y": y, **LEFT_TO_RIGHT}, first, style="track", yOffset=10),
            layer("rule", beam, first, IS_SHOWN, style="beam-thin", yOffset=4),
            layer("rule", beam, second, IS_SHOWN, style="beam-thin", yOffset=16),
            layer("point", {**share, **OPEN_BEAD}, first, IS_SHOWN, style="bead-small", yOffset=4),
            layer("point", share, second, IS_SHOWN, style="diamond", shape="diamond", yOffset=16),
            layer("text", {"y": y, **band}, first, style="name", yOffset=-13, align="left"),
            layer("text", {"y": y, **figure}, first, style="written", yOffset=-13, align="right"),
        ),
        step(60),
    )


@cache
def beside_reference(columns: Columns, title: str) -> Part:
    """One row a centile of a reference: the share below it as a bead on its beam, a diamond where the reference
    has it."""
    y, tip, (name, figure) = in_order("centile"), tooltip((("centile", title),), columns), _named("centile")
    bead = {"y": y, "x": number("share"), "tooltip": tip, **OPEN_BEAD}
    diamond = {"y": y, "x": number("expected"), "tooltip": tip}
    return finished(
        (
            layer("rule", {"y": y, **LEFT_TO_RIGHT}, style="track", yOffset=9),
            layer("rule", {"y": y, **_across(), "tooltip": tip}, IS_SHOWN, style="beam", yOffset=9),
            layer("point", bead, IS_SHOWN, style="bead", yOffset=9),
            layer("point", diamond, IS_SHOWN, style="diamond", yOffset=9, shape="diamond"),
            layer("text", {"y": y, **name}, style="name", yOffset=-10, align="left"),
            layer("text", {"y": y, **figure}, style="written", yOffset=-10, align="right"),
        ),
        step(48),
    )
