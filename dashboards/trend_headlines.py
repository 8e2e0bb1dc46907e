"""What a chart over periods says: a change is named only where intervals are apart, or a fitted one is clear."""

from __future__ import annotations

from collections.abc import Mapping

from dashboards.cubes import NO_ROW, PUBLISHED, WITHHELD, Cube
from dashboards.headlines import apart, is_firm, is_shown
from dashboards.numbers import count, percent, written
from dashboards.wording import TEXT, listed, say


def first_to_last(cube: Cube, at: Mapping[str, str], group: str) -> str:
    """First against last published period, band by band."""
    periods = cube.dimension("period")
    shown = [
        key
        for key in periods.keys
        if any(is_firm(cell) for _, cell in cube.walk(["band"], {**at, "period": key}))
    ]
    if len(shown) < 2:
        return say("h.trend.short", group=group)
    first, last = shown[0], shown[-1]
    parts, rest, compared = _moved(cube, {**at, "period": first}, {**at, "period": last})
    words = {"group": group, "first": periods.label(first), "last": periods.label(last)}
    if not compared:
        return say("h.trend.short", group=group)
    if not parts:
        return say("h.trend.same", **words)
    return say("h.trend.change", changes=listed(parts), rest=rest, **words)


def since(cube: Cube, before: Mapping[str, str], now: Mapping[str, str], period: str) -> str:
    """The period before against this one, band by band; `period` is the earlier one in words."""
    parts, rest, compared = _moved(cube, before, now)
    if not compared:
        return say("h.since.none", period=period)
    if not parts:
        return say("h.since.same", period=period)
    return say("h.since.change", changes=listed(parts), rest=rest, period=period)


def _moved(
    cube: Cube, before: Mapping[str, str], after: Mapping[str, str]
) -> tuple[list[str], str, int]:
    """(bands that clearly rose and fell, in words; a word on the rest; how many bands can be compared)."""
    changes: dict[str, list[str]] = {"rose": [], "fell": []}
    compared = 0
    for band, label in zip(cube.dimension("band").keys, cube.dimension("band").labels, strict=True):
        one, other = (cube.cell({**at, "band": band}) for at in (before, after))
        if not (is_firm(one) and is_firm(other)):
            continue
        compared += 1
        if apart(one, other):
            shares = {"before": percent(one["share"]), "after": percent(other["share"])}
            way = "rose" if other["share"] > one["share"] else "fell"
            changes[way].append(say("h.trend.item", band=label, **shares))
    parts = [say(f"h.trend.{way}", list=listed(items)) for way, items in changes.items() if items]
    rest = TEXT["h.trend.rest"] if sum(map(len, changes.values())) < compared else ""
    return parts, rest, compared


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


def fitted_trend(trends: Cube, at: Mapping[str, str], group: str, first: str, last: str) -> str:
    """The fitted trends of a group's bands, named only where the interval of the odds ratio leaves out 1.

    Missing  empty where no trend was fitted for the group: the sentence on first and last period stands in for it.
    """
    one = 10 ** trends.decimals["low"]
    changes: dict[str, list[str]] = {"rose": [], "fell": []}
    cells = [(trends.dimension("band").label(k["band"]), cell) for k, cell in trends.walk(["band"], at)]
    fitted = [
        (band, c) for band, c in cells if c["state"] == PUBLISHED and is_shown(c, "low", "high", "points")
    ]
    for band, cell in fitted:
        if cell["low"] > one or cell["high"] < one:
            points = written(abs(cell["points"]), trends.decimals["points"])
            changes["rose" if cell["low"] > one else "fell"].append(
                say("h.fitted.item", band=band, points=points)
            )
    words = {"group": group, "first": first, "last": last}
    parts = [say(f"h.fitted.{way}", list=listed(items)) for way, items in changes.items() if items]
    if not fitted:
        return say("h.fitted.withheld", **words) if any(c["state"] == WITHHELD for _, c in cells) else ""
    if not parts:
        return say("h.fitted.same", **words)
    rest = TEXT["h.fitted.rest"] if sum(map(len, changes.values())) < len(fitted) else ""
    return say("h.fitted.change", changes=listed(parts), rest=rest, **words)


def firm_trends(trends: Cube, at: Mapping[str, str], group: str) -> str:
    """How many of a group's fitted trends have an interval that leaves out 1."""
    one = 10 ** trends.decimals["low"]
    cells = [cell for _, cell in trends.walk(["band"], at)]
    fitted = [cell for cell in cells if is_shown(cell, "low", "high")]
    if not fitted:
        return say(
            "h.fitted.none" if {c["state"] for c in cells} == {NO_ROW} else "h.fitted.hidden", group=group
        )
    clear = sum(cell["low"] > one or cell["high"] < one for cell in fitted)
    return say("h.fitted.count", group=group, clear=count(clear), fitted=count(len(fitted)))
