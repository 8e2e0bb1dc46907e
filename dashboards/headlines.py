"""What a chart says, in a sentence computed from its figures and held back by their intervals.

Every function is pure: cells in, sentence out. The rule for all: a difference is named only where two 95 %
intervals do not overlap, which is stricter than a test of the difference at 5 %; anything else is "no clear
change". Figures are steps as in `cubes`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards.cubes import NO_ROW, PUBLISHED, UNRELIABLE, Cube
from dashboards.numbers import count, percent, written
from dashboards.wording import TEXT, listed, say

Cell = dict[str, Any]


def is_shown(cell: Cell, *figures: str) -> bool:
    return cell["state"] in (PUBLISHED, UNRELIABLE) and all(cell[name] is not None for name in figures)


def is_firm(cell: Cell) -> bool:
    """A share with both ends of its interval, and not flagged unreliable: fit to stand in a sentence."""
    return cell["state"] == PUBLISHED and all(cell[name] is not None for name in ("share", "low", "high"))


def apart(one: Cell, other: Cell, low: str = "low", high: str = "high") -> bool:
    """Whether two intervals do not touch."""
    return one[high] < other[low] or other[high] < one[low]


def most_common(cube: Cube, at: Mapping[str, str], group: str, period: str) -> str:
    """The most common band of a group, or the two that cannot be told apart."""
    cells = [(cube.dimension("band").label(keys["band"]), cell) for keys, cell in cube.walk(["band"], at)]
    firm = sorted((item for item in cells if is_firm(item[1])), key=lambda item: -item[1]["share"])
    if not firm:
        nobody = all(cell["state"] == NO_ROW for _, cell in cells)
        return say("h.nobody" if nobody else "h.withheld", group=group, period=period)
    (band, first), *others = firm
    words = {"group": group, "period": period, "band": band, "share": percent(first["share"])}
    if others and not apart(first, others[0][1]):
        return say("h.tied", other=others[0][0], other_share=percent(others[0][1]["share"]), **words)
    key = "h.most" if len(firm) == len(cells) else "h.most.hidden"
    return say(key, low=percent(first["low"]), high=percent(first["high"]), **words)


def trend(cube: Cube, at: Mapping[str, str], group: str) -> str:
    """First against last published period, band by band."""
    changes: dict[str, list[str]] = {"rose": [], "fell": []}
    periods, compared = cube.dimension("period"), 0
    span: tuple[str, str] | None = None
    shown = [
        key
        for key in periods.keys
        if any(is_firm(cell) for _, cell in cube.walk(["band"], {**at, "period": key}))
    ]
    if len(shown) < 2:
        return say("h.trend.short", group=group)
    span = (shown[0], shown[-1])
    for band, label in zip(cube.dimension("band").keys, cube.dimension("band").labels, strict=True):
        before, after = (cube.cell({**at, "band": band, "period": key}) for key in span)
        if not (is_firm(before) and is_firm(after)):
            continue
        compared += 1
        if apart(before, after):
            way = "rose" if after["share"] > before["share"] else "fell"
            changes[way].append(
                say(
                    "h.trend.item", band=label, before=percent(before["share"]), after=percent(after["share"])
                )
            )
    words = {"group": group, "first": periods.label(span[0]), "last": periods.label(span[1])}
    parts = [say(f"h.trend.{way}", list=listed(items)) for way, items in changes.items() if items]
    if not compared:
        return say("h.trend.short", group=group)
    if not parts:
        return say("h.trend.same", **words)
    named = sum(len(items) for items in changes.values())
    rest = TEXT["h.trend.rest"] if named < compared else ""
    return say("h.trend.change", changes=listed(parts), rest=rest, **words)


def by_age(cube: Cube, at: Mapping[str, str], ages: Sequence[str], band: str, period: str) -> str:
    """The lowest and the highest of the single age groups, if their intervals are apart."""
    axis = cube.dimension("age")
    cells = [(axis.label(age), cube.cell({**at, "age": age})) for age in ages]
    firm = sorted((item for item in cells if is_firm(item[1])), key=lambda item: item[1]["share"])
    if len(firm) < 2:
        return say("h.age.none", band=band, period=period)
    (low_age, low), (high_age, high) = firm[0], firm[-1]
    if not apart(low, high):
        return say("h.age.same", band=band, period=period)
    return say(
        "h.age.differ",
        band=band,
        period=period,
        low_age=low_age,
        high_age=high_age,
        low_share=percent(low["share"]),
        high_share=percent(high["share"]),
    )


def spread(cell: Cell, group: str, period: str, unit: str, decimals: int) -> str:
    """The middle half and the middle value of a measure."""
    if not is_shown(cell, "p25", "p50", "p75"):
        return say("h.nobody" if cell["state"] == NO_ROW else "h.withheld", group=group, period=period)
    words = {name: written(cell[name], decimals) for name in ("p25", "p50", "p75")}
    if cell["p50_low"] is None or cell["p50_high"] is None:
        return say("h.spread.open", group=group, period=period, unit=unit, **words)
    return say(
        "h.spread",
        group=group,
        period=period,
        unit=unit,
        low=written(cell["p50_low"], decimals),
        high=written(cell["p50_high"], decimals),
        **words,
    )


def median_trend(cube: Cube, at: Mapping[str, str], group: str, unit: str, decimals: int) -> str:
    """First against last published middle value."""
    axis = cube.dimension("period")
    cells = [
        (axis.label(keys["period"]), cell)
        for keys, cell in cube.walk(["period"], at)
        if is_shown(cell, "p50", "p50_low", "p50_high") and cell["state"] == PUBLISHED
    ]
    if len(cells) < 2:
        return say("h.trend.short", group=group)
    (first, before), (last, after) = cells[0], cells[-1]
    key = "h.median.change" if apart(before, after, "p50_low", "p50_high") else "h.median.same"
    return say(
        key,
        group=group,
        unit=unit,
        first=first,
        last=last,
        before=written(before["p50"], decimals),
        after=written(after["p50"], decimals),
    )


def site_spread(cells: Sequence[Cell], overall: Cell, period: str) -> str:
    """How many sites' intervals include the share over all sites."""
    firm = [cell for cell in cells if is_firm(cell)]
    if not firm or not is_firm(overall):
        return say("h.sites.none", period=period)
    inside = sum(cell["low"] <= overall["share"] <= cell["high"] for cell in firm)
    text = say(
        "h.sites.most",
        period=period,
        inside=count(inside),
        shown=count(len(firm)),
        share=percent(overall["share"]),
    )
    if inside < len(firm):
        text += say("h.sites.beyond", beyond=count(len(firm) - inside))
    if len(firm) < len(cells):
        text += say("h.sites.hidden", hidden=count(len(cells) - len(firm)))
    return text
