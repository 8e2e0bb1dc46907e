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
from dashboards.wording import listed, say

Cell = dict[str, Any]
Share = tuple[Any, ...]  # (state, share, low, high): what a sentence needs that is made by the ten thousand


def is_shown(cell: Cell, *figures: str) -> bool:
    return cell["state"] in (PUBLISHED, UNRELIABLE) and all(cell[name] is not None for name in figures)


def is_firm(cell: Cell) -> bool:
    """A share with both ends of its interval, and not flagged unreliable: fit to stand in a sentence."""
    if cell["state"] != PUBLISHED:
        return False
    return cell["share"] is not None and cell["low"] is not None and cell["high"] is not None


def _is_firm(cell: Share) -> bool:
    """As `is_firm`."""
    return cell[0] == PUBLISHED and None not in cell


def apart(one: Cell, other: Cell, low: str = "low", high: str = "high") -> bool:
    """Whether two intervals do not touch."""
    return one[high] < other[low] or other[high] < one[low]


def most_common(cube: Cube, at: Mapping[str, str], group: str, period: str) -> str:
    """The most common band of a group, or the two that cannot be told apart."""
    cells = list(cube.along("band", at, "share", "low", "high"))
    firm = [
        (-share, place, low, high)
        for place, (state, share, low, high) in enumerate(cells)
        if state == PUBLISHED and share is not None and low is not None and high is not None
    ]
    if not firm:
        states = {state for state, *_ in cells}
        key = "nobody" if states == {NO_ROW} else "unreliable" if UNRELIABLE in states else "withheld"
        return say(f"h.{key}", group=group, period=period)
    firm.sort()
    bands, is_whole = cube.dimension("band").labels, len(firm) == len(cells)
    (share, place, low, high), *others = firm
    words = {"group": group, "period": period, "band": bands[place], "share": percent(-share)}
    if others:
        share, place, other_low, other_high = others[0]
        if not (high < other_low or other_high < low):
            if not is_whole:
                return say("h.tied.hidden", group=group, period=period)
            return say("h.tied", other=bands[place], other_share=percent(-share), **words)
    key = "h.most" if is_whole else "h.most.hidden"
    return say(key, low=percent(low), high=percent(high), **words)


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
    """The middle half and the middle value of a measure; a group without rows may be a withheld one."""
    if not is_shown(cell, "p25", "p50", "p75"):
        return say("h.absent" if cell["state"] == NO_ROW else "h.withheld", group=group, period=period)
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


def site_spread(cells: Sequence[Share], overall: Share, period: str) -> str:
    """How many sites' intervals include the share over all sites."""
    firm = [cell for cell in cells if _is_firm(cell)]
    if not firm or not _is_firm(overall):
        return say("h.sites.none", period=period)
    share = overall[1]
    inside = sum([low <= share <= high for _, _, low, high in firm])
    text = say(
        "h.sites.most",
        period=period,
        inside=count(inside),
        shown=count(len(firm)),
        share=percent(share),
    )
    if inside < len(firm):
        text += say("h.sites.beyond", beyond=count(len(firm) - inside))
    if len(firm) < len(cells):
        text += say("h.sites.hidden", hidden=count(len(cells) - len(firm)))
    return text


def moved_by_standard(cube: Cube, at: Mapping[str, str], group: str, period: str, standard: str) -> str:
    """Whether standardising moves a share further than its own interval reaches."""
    moved, compared = [], 0
    for band, label in zip(cube.dimension("band").keys, cube.dimension("band").labels, strict=True):
        crude, other = (cube.cell({**at, "band": band, "kind": kind}) for kind in ("crude", "standardised"))
        if not (is_firm(crude) and is_firm(other)):
            continue
        compared += 1
        if not other["low"] <= crude["share"] <= other["high"]:
            moved.append(
                say(
                    "h.standard.item",
                    band=label,
                    crude=percent(crude["share"]),
                    standardised=percent(other["share"]),
                )
            )
    words = {"group": group, "period": period, "standard": standard}
    if not compared:
        return say("h.standard.none", **words)
    return say("h.standard.moved", list=listed(moved), **words) if moved else say("h.standard.same", **words)


def over_ages(curves: Cube, sex: str, unit: str, decimals: int) -> str:
    """Where the middle curve is lowest and highest, if the intervals there are apart."""
    words = {"unit": unit}
    shown = [
        (keys["year"], cell)
        for keys, cell in curves.walk(["year"], {"sex": sex})
        if is_shown(cell, "p50") and cell["state"] == PUBLISHED
    ]
    (low_age, low), (high_age, high) = (pick(shown, key=lambda item: item[1]["p50"]) for pick in (min, max))
    words |= {
        "low_age": low_age, "high_age": high_age, "low": written(low["p50"], decimals),
        "high": written(high["p50"], decimals),
    }  # fmt: skip
    if any(cell[end] is None for cell in (low, high) for end in ("p50_low", "p50_high")):
        return say("h.curve.open", **words)
    return say("h.curve.differ" if apart(low, high, "p50_low", "p50_high") else "h.curve.same", **words)


def against_reference(reference: Cube, at: Mapping[str, str], group: str, period: str) -> str:
    """The share below the middle and below the highest centile, beside what the reference has there."""
    keys = reference.dimension("centile").keys
    middle = min(keys, key=lambda key: abs(int(key) - 50))
    parts = []
    for key in dict.fromkeys((middle, keys[-1])):
        cell = reference.cell({**at, "centile": key})
        if not (is_firm(cell) and cell["expected"] is not None):
            continue
        way = (
            "fewer"
            if cell["high"] < cell["expected"]
            else "more"
            if cell["low"] > cell["expected"]
            else "same"
        )
        parts.append(
            say(
                f"h.who.{way}",
                share=percent(cell["share"]),
                expected=percent(cell["expected"]),
                centile=reference.dimension("centile").label(key).lower(),
            )
        )
    if not parts:
        return say("h.who.none", group=group, period=period)
    return say("h.who", group=group, period=period, list="; ".join(parts))
