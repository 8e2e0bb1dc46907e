"""What may be said of outcomes: hedged by intervals, by who was not seen, and by whether there is a comparison.

Every function is pure: cells in, sentence out. Figures are steps as in `cubes`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards.cubes import PUBLISHED, Cube
from dashboards.headlines import is_shown
from dashboards.numbers import count, percent, written
from dashboards.wording import TEXT, say

Cell = Mapping[str, Any]
DROP_OUT = ("completers", "retention_weighted", "carried_forward")
_FIRM = ("value", "low", "high")


def is_firm(cell: Cell) -> bool:
    return cell["state"] == PUBLISHED and all(cell[name] is not None for name in _FIRM)


def leaves_out_none(cell: Cell) -> bool:
    """Whether the interval lies on one side of no change."""
    return cell["low"] > 0 or cell["high"] < 0


def with_unit(steps: int, decimals: int, unit: str) -> str:
    return written(steps, decimals) + (f"\u00a0{unit}" if unit else "")


def mean_change(
    cells: Mapping[str, Cell],
    expected: Cell | None,
    group: tuple[str, str],
    months: str,
    decimals: int,
    unit: str,
) -> str:
    """The change of those seen, the range over the ways of taking drop-out, and what chance of selection adds.

    Shapes   cells: estimator → cell with value, low, high, seen and due; group: sex and start.
    """
    seen = cells["completers"]
    if not is_firm(seen):
        return say("o.answer.none", who=TEXT[f"who.{group[0]}.{group[1]}"], months=months)
    way = "lower" if seen["value"] < 0 else "higher"
    size = with_unit(abs(seen["value"]), decimals, unit)
    sentences = [
        say(
            "o.answer",
            months=months,
            seen=TEXT[f"seen.{group[0]}.{group[1]}"],
            value=say(f"o.{way}", value=size) if seen["value"] else TEXT["o.same"],
            low=written(seen["low"], decimals),
            high=with_unit(seen["high"], decimals, unit),
        )
    ]
    if seen["seen"] is not None and seen["due"] is not None:
        sentences.append(say("o.seen", seen=count(seen["seen"]), due=count(seen["due"])))
    sentences.append(_range([cells[name] for name in DROP_OUT if name in cells], decimals, unit))
    if expected is not None and expected["state"] == PUBLISHED and expected["value"] is not None:
        sentences.append(say("o.regression", value=with_unit(expected["value"], decimals, unit)))
    return " ".join(sentences)


def _range(cells: Sequence[Cell], decimals: int, unit: str) -> str:
    firm = [cell for cell in cells if is_firm(cell)]
    if len(firm) < 2:
        return TEXT["o.range.alone"]
    values = sorted(cell["value"] for cell in firm)
    if values[-1] <= 0:  # from the smaller loss to the larger
        values.reverse()
    start = say("o.range", least=written(values[0], decimals), most=with_unit(values[-1], decimals, unit))
    if values[0] == values[-1]:
        start = say("o.range.same", value=with_unit(values[0], decimals, unit))
    clear = [cell for cell in firm if leaves_out_none(cell)]
    if len(clear) < len(firm):
        return start + say("o.range.open", n=count(len(firm) - len(clear)), of=count(len(firm)))
    if len({cell["value"] > 0 for cell in firm}) > 1:
        return start + say("o.range.mixed", of=count(len(firm)))
    return start + say("o.range.clear", n=count(len(firm)))


def attribution(overall: Cell | None, before: Cell | None, decimals: int) -> str:
    """Whether a comparison with sites not yet started lets anything be said of cause.

    overall, before: cells with value, low, high, sites, comparison_sites; None where the release has none.
    """
    if overall is None:
        return TEXT["o.alone"]
    if not is_firm(overall):
        if overall["sites"] is None or overall["comparison_sites"] is None:
            return TEXT["o.alone"]
        return say("o.few", sites=count(overall["sites"]), comparison=count(overall["comparison_sites"]))
    words = {name: written(overall[name], decimals) for name in _FIRM}
    if not leaves_out_none(overall):
        return say("o.unclear", **words)
    if before is None or not is_firm(before):
        return say("o.effect.unchecked", **words)
    if leaves_out_none(before):
        return say("o.differed", before=written(before["value"], decimals))
    return say("o.effect", **words)


def reliable(cube: Cube, at: Mapping[str, str], months: str) -> str:
    """Shares of those seen; the 5 % mark also over everybody who was due, and beside its target where it has one."""
    cells = {
        name: cube.cell({**at, "statistic": name, "estimator": "completers"})
        for name in ("better", "unchanged", "worse")
    }
    if not all(is_shown(cell, "value") for cell in cells.values()):
        text = [say("o.reliable.none", who=TEXT[f"who.{at['sex']}.bmi_25"], months=months)]
    else:
        shares = {name: percent(cell["value"]) for name, cell in cells.items()}
        text = [say("o.reliable", seen=TEXT[f"seen.{at['sex']}.bmi_25"], months=months, **shares)]
    lost, carried = (
        cube.cell({**at, "statistic": "lost_5_percent", "estimator": estimator})
        for estimator in ("completers", "carried_forward")
    )
    if is_firm(lost) and is_firm(carried):
        words = {"low": percent(lost["low"]), "high": percent(lost["high"])}
        text.append(say("o.lost", share=percent(lost["value"]), carried=percent(carried["value"]), **words))
        if lost.get("target") is not None:
            text.append(
                say(
                    "o.lost.target",
                    target=percent(lost["target"]),
                    seen=_beside_target(lost),
                    due=_beside_target(carried),
                )
            )
    return " ".join(text)


def _beside_target(cell: Cell) -> str:
    """Where the interval of a share lies: above its target, below it, or over it."""
    way = "above" if cell["low"] > cell["target"] else "below" if cell["high"] < cell["target"] else "near"
    return TEXT[f"o.target.{way}"]


def fat_share(cell: Cell, who: str, months: str) -> str:
    if not is_firm(cell):
        return say("o.fat.none", who=who, months=months)
    return say("o.fat", who=who, months=months, share=percent(cell["value"]), low=percent(cell["low"]),
               high=percent(cell["high"]))  # fmt: skip


def retention(cell: Cell, months: str) -> str:
    if not is_shown(cell, "value", "low", "high"):
        return say("o.retention.none", months=months)
    words = {"low": percent(cell["low"]), "high": percent(cell["high"])}
    return say("o.retention", months=months, share=percent(cell["value"]), **words)


def balance(cells: Sequence[Cell], effective: int | None, months: str, decimals: int) -> str:
    """How far those who came back differ from those who were due, before and after weighting, at the most."""
    shown = [cell for cell in cells if is_shown(cell, "before", "after")]
    if not shown:
        return say("o.balance.none", months=months)
    words = {
        name: written(max((cell[name] for cell in shown), key=abs), decimals) for name in ("before", "after")
    }
    if effective is None:
        return say("o.balance.short", months=months, **words)
    return say("o.balance", months=months, effective=count(effective), **words)


def transition(cube: Cube, at: Mapping[str, str], months: str) -> str:
    """The band from which most people are shown, and the share that stayed in it."""
    axis = cube.dimension("band_from")
    shown = [
        (cell["of"], key, cell)
        for key in axis.keys
        if is_shown(cell := cube.cell({**at, "band_from": key, "band_to": key}), "of", "share")
    ]
    if not shown:
        return say("o.transition.none", months=months)
    _, key, cell = max(shown, key=lambda item: item[0])
    return say("o.transition", months=months, band=axis.label(key), stay=percent(cell["share"]))


def children(cell: Cell, group: str, months: str, decimals: int) -> str:
    if not is_firm(cell):
        return say("o.children.none", group=group, months=months)
    words = {name: written(cell[name], decimals) for name in _FIRM}
    key = "o.children.change" if leaves_out_none(cell) else "o.children.same"
    return say(key, group=group, months=months, **words)


def sites(cells: Sequence[Cell], months: str, decimals: int, unit: str) -> str:
    """The range of sites' shrunken estimates, and how many have an interval without the reference."""
    names = ("shrunken", "shrunken_low", "shrunken_high", "reference")
    shown = [c for c in cells if c["state"] == PUBLISHED and all(c[name] is not None for name in names)]
    if not shown:
        return say("o.sites.none", months=months)
    apart = [c for c in shown if not c["shrunken_low"] <= c["reference"] <= c["shrunken_high"]]
    return say(
        "o.sites",
        months=months,
        low=with_unit(min(c["shrunken"] for c in shown), decimals, unit),
        high=with_unit(max(c["shrunken"] for c in shown), decimals, unit),
        apart=count(len(apart)),
        shown=count(len(shown)),
        reference=with_unit(shown[0]["reference"], decimals, unit),
    )


def target(cells: Sequence[Cell], overall: Sequence[int]) -> str:
    """For how many sites the target is more likely reached than not, and how likely over all; empty without a target.

    overall: the probability over all sites in per cent, by each way of taking those not seen.
    """
    shown = [c for c in cells if c["state"] == PUBLISHED and c["probability"] is not None]
    text = []
    if shown:
        likely = [c for c in shown if c["probability"] > 50]
        text.append(
            say(
                "o.target",
                likely=count(len(likely)),
                shown=count(len(shown)),
                target=percent(shown[0]["target"]),
            )
        )
    if overall:
        low, high = (f"{part(overall)}\u00a0%" for part in (min, max))
        key = "o.target.all" if low != high else "o.target.all.alike"
        text.append(say(key, low=low, high=high))
    return " ".join(text)
