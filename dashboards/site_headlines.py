"""What may be said of sites and analysers set side by side: counts of those outside the limits, never a name first.

Every function is pure: cells in, sentence out. Figures are steps as in `cubes`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any

from dashboards.cubes import PUBLISHED
from dashboards.numbers import count, written
from dashboards.wording import TEXT, listed, say, say_of

Cell = Mapping[str, Any]
LITTLE_P = 1  # thousandths: the p below which a check is mentioned


@dataclass(frozen=True)
class Writer:
    """Writes a figure with its unit."""

    decimals: int
    unit: str

    def __call__(self, steps: int) -> str:
        return written(steps, self.decimals) + (f"\u00a0{self.unit}" if self.unit else "")


def _with(cells: Sequence[Cell], *names: str) -> list[Cell]:
    found = itemgetter("state", *names)
    return [cell for cell in cells if (values := found(cell))[0] == PUBLISHED and None not in values]


def funnel(cells: Sequence[Cell], group: str, period: str | None, write: Writer) -> str:
    """How many sites stand outside the limits, beside how many chance alone would put there."""
    if period is None:
        return TEXT["h.compare.period"]
    shown = _with(cells, "value", "limit_low", "limit_high", "reference")
    if not shown:
        return say("h.compare.none", group=group, period=period)
    beyond = [c for c in shown if not c["limit_low"] <= c["value"] <= c["limit_high"]]
    far = [
        c
        for c in _with(beyond, "outer_low", "outer_high")
        if not c["outer_low"] <= c["value"] <= c["outer_high"]
    ]
    words = {
        "group": group,
        "period": period,
        "shown": count(len(shown)),
        "inside": count(len(shown) - len(beyond)),
        "reference": write(shown[0]["reference"]),
        "chance": written(round(len(shown) * 0.05 * 10), 1),
    }
    text = say("h.compare.funnel", **words)
    if far:
        text += " " + say_of("h.compare.far", len(far), far=count(len(far)))
    return text


def shrunken(cells: Sequence[Cell], group: str, period: str | None, write: Writer) -> str:
    """How far the shrunken figures reach, and for how many the interval leaves out the reference."""
    if period is None:
        return TEXT["h.compare.period"]
    shown = _with(cells, "shrunken", "shrunken_low", "shrunken_high", "reference")
    if not shown:
        return say("h.compare.none", group=group, period=period)
    apart = [c for c in shown if not c["shrunken_low"] <= c["reference"] <= c["shrunken_high"]]
    return say(
        "h.compare.shrunken",
        group=group,
        period=period,
        low=write(min(c["shrunken"] for c in shown)),
        high=write(max(c["shrunken"] for c in shown)),
        apart=count(len(apart)),
        shown=count(len(shown)),
        reference=write(shown[0]["reference"]),
    )


def between(cells: Sequence[tuple[str, Cell]], decimals: int, unit: str, group: str) -> str:
    """The spread of sites beyond chance in the last period that has one."""
    shown = [(period, cell) for period, cell in cells if _with([cell], "sd", "i2")]
    if not shown:
        return TEXT["h.compare.between.none"]
    period, cell = shown[-1]
    words = {"period": period, "group": group, "i2": f"{cell['i2']}\u00a0%"}
    if cell["sd"] == 0:
        return say("h.compare.between.zero", **words)
    sd = written(cell["sd"], decimals) + (f"\u00a0{unit}" if unit else "")
    return say("h.compare.between", sd=sd, **words)


def steadiness(devices: Sequence[tuple[str, Sequence[tuple[str, Cell]]]], words: Sequence[str]) -> str:
    """Which analysers signalled in some period: (title, its (period, cell)s) in; `words` are the signals' names."""
    with_figures = [
        (title, cells) for title, cells in devices if any(_with([c], "difference") for _, c in cells)
    ]
    if not with_figures:
        return TEXT["h.device.none"]
    found = []
    for title, cells in with_figures:
        signals = [(period, c["signal"]) for period, c in cells if c["state"] == PUBLISHED and c["signal"]]
        if signals:
            found.append(
                say("h.device.item", device=title, signal=words[signals[-1][1]], period=signals[0][0])
            )
    total = count(len(with_figures))
    if not found:
        return say_of("h.device.steady", len(with_figures), total=total)
    if len(found) > 3:
        return say("h.device.many", found=count(len(found)), total=total)
    return say_of(
        "h.device.check",
        len(found),
        found=count(len(found)),
        total=total,
        list=listed(found),
    )


def entries(cells: Sequence[tuple[str, Cell]]) -> str:
    """How many sites stand out in each check by more than chance would do; (check title, cell) in."""
    shown = [(title, c) for title, c in cells if _with([c], "p")]
    if not shown:
        return TEXT["h.entry.none"]
    odd: dict[str, int] = {}
    for title, cell in shown:
        odd[title] = odd.get(title, 0) + (cell["p"] < LITTLE_P)
    parts = [
        say_of("h.entry.item", n, n=count(n), check=title)
        for title, n in odd.items()
        if n
    ]
    return say("h.entry.check", list=listed(parts)) if parts else TEXT["h.entry.even"]
