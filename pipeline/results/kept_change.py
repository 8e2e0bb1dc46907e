"""tally.change_sum, .change_contrast, .analyser_chart: what past periods left for the charts of later ones."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import polars as pl

from pipeline.statistics.analyser_fault import Fault
from pipeline.statistics.change_contrast import CLASSES, ELSEWHERE, Contrasts, Places, Wholes, numbers
from pipeline.statistics.device_drift import SiteState
from pipeline.store import Store

_TABLES = ("tally.change_sum", "tally.change_contrast", "tally.analyser_chart")
_SUMS = ("n", "change", "change_squared")
_WHOLE = ("month", "earlier_month", "stage", "n")
_FLOAT = ("change", "variance", "ends", "quarters")
_CHART = {
    "scores": pl.List(pl.Float64),
    "known": pl.List(pl.Struct({"devices": pl.List(pl.String), "kind": pl.String, "month": pl.Float64})),
    "since": pl.Int32,
    "signalled_up": pl.List(pl.String),
    "signalled_down": pl.List(pl.String),
    "shifted": pl.List(pl.String),
}


def forget(store: Store, first: str | None) -> None:
    """Delete what is kept of the first period and all later ones; with None, of all."""
    for table in _TABLES:
        store.execute(f"delete from {table} where $first is null or period >= $first", {"first": first})


def devices(store: Store, first: str | None) -> list[str]:
    """Names of analysers in what is kept of the periods before the first."""
    found = store.rows(
        "select distinct device from tally.change_contrast where period < $first", {"first": first}
    )
    return [name for (name,) in found]


def sums_before(store: Store, measure: str, first: str | None, places: Places) -> Wholes:
    """Running sums for ChangeContrasts at the end of the period before the first."""
    found = store.frame(
        "select site, class, sum(n)::bigint as n, sum(change)::bigint as change, "
        "sum(change_squared)::bigint as change_squared "
        "from tally.change_sum where measure = $measure and period < $first group by site, class",
        {"measure": measure, "first": first},
    )
    sums = np.zeros((CLASSES, len(places.sites), len(_SUMS)), dtype=np.int64)
    sums[found["class"].to_numpy(), numbers(found["site"], places.sites)] = found.select(_SUMS).to_numpy()
    return sums


def keep_sums(store: Store, measure: str, period: str, added: Wholes, places: Places) -> None:
    """added: what the period added to the running sums, (CLASSES, sites, 3)."""
    kind, site = np.nonzero(added[..., 0])
    frame = pl.DataFrame(
        {"site": pl.Series(places.sites, dtype=pl.String).gather(site), "class": kind}
        | dict(zip(_SUMS, added[kind, site].T, strict=True))
    )
    store.append_rows("tally.change_sum", frame.with_columns(period=pl.lit(period), measure=pl.lit(measure)))


def states_before(
    store: Store, measure: str, first: str | None, places: Places
) -> tuple[dict[str, SiteState], list[float]]:
    """Of every site its chart's state at the end of the period before the first, and all scores until then."""
    asked = {"measure": measure, "first": first}
    charts = store.rows(
        "select site, known, since, signalled_up, signalled_down, shifted from tally.analyser_chart "
        "where measure = $measure and period < $first "
        "qualify row_number() over (partition by site order by period desc) = 1 order by site",
        asked,
    )
    scores = store.rows(
        "select unnest(scores) from tally.analyser_chart where measure = $measure and period < $first", asked
    )
    contrasts = _contrasts_before(store, asked, places)
    place = {name: number for number, name in enumerate(places.devices)}.__getitem__
    states = {
        site: SiteState(
            contrasts[site],
            tuple(Fault(tuple(map(place, one["devices"])), one["kind"], one["month"]) for one in known),
            since,
            dict.fromkeys(map(place, up), True) | dict.fromkeys(map(place, down), False),
            frozenset(map(place, shifted)),
        )
        for site, known, since, up, down, shifted in charts
    }
    return states, [score for (score,) in scores]


def _contrasts_before(store: Store, asked: Mapping[str, str | None], places: Places) -> dict[str, Contrasts]:
    """Of every site, in the order in which they came: by period, then as ChangeContrasts orders them."""
    found = store.frame(
        "select site, period, device, earlier_device, month, earlier_month, stage, n, change, variance, ends, quarters "
        "from tally.change_contrast where measure = $measure and period < $first",
        asked,
    )
    site, device = numbers(found["site"], places.sites), numbers(found["device"], places.devices)
    period = numbers(found["period"], sorted(set(found["period"])))
    earlier = found["earlier_device"]
    earlier_device = np.where(
        earlier.is_null().to_numpy(), ELSEWHERE, numbers(earlier.fill_null(places.devices[0]), places.devices)
    ) if found.height else device  # fmt: skip
    whole = [found[name].to_numpy().astype(np.int64) for name in _WHOLE]
    month, earlier_month, stage, _ = whole
    order = np.lexsort((stage, earlier_month, month, earlier_device, device, period, site))
    every = Contrasts(device, earlier_device, *whole, *(found[name].to_numpy() for name in _FLOAT)).at(order)
    ends = np.searchsorted(site[order], np.arange(len(places.sites) + 1))
    return {name: every.at(slice(ends[i], ends[i + 1])) for i, name in enumerate(places.sites)}


def keep_contrasts(
    store: Store, measure: str, contrasts: list[tuple[str, str, Contrasts]], names: list[str]
) -> None:
    """contrasts: (period, site, those of the two). names: of analysers by place."""
    if not contrasts:
        return
    each = [of_site for _, _, of_site in contrasts]
    lengths = [len(of_site.n) for of_site in each]

    def column(name: str) -> np.ndarray:
        return np.concatenate([getattr(of_site, name) for of_site in each])

    words, of = pl.Series(names, dtype=pl.String), np.repeat(np.arange(len(contrasts)), lengths)
    earlier = column("earlier_device")
    frame = pl.DataFrame({
        "period": pl.Series([period for period, _, _ in contrasts], dtype=pl.String).gather(of),
        "site": pl.Series([site for _, site, _ in contrasts], dtype=pl.String).gather(of),
        "device": words.gather(column("device")),
        "earlier_device": words.gather(np.maximum(earlier, 0)).set(pl.Series(earlier == ELSEWHERE), None),
        "ends": column("end"),
    } | {name: column(name) for name in (*_WHOLE, "change", "variance", "quarters")})  # fmt: skip
    store.append_rows("tally.change_contrast", frame.with_columns(measure=pl.lit(measure)))


def keep_charts(
    store: Store, measure: str, charts: list[tuple[str, str, SiteState, list[float]]], names: list[str]
) -> None:
    """charts: (period, site, state at its end, scores of the period). names: of analysers by place."""

    def named(devices: Iterable[int]) -> list[str]:
        return [names[device] for device in sorted(devices)]

    rows = [
        (
            period, measure, site, scores,
            [{"devices": named(one.devices), "kind": one.kind, "month": one.month} for one in state.found], state.since,
            named(device for device, is_up in state.last_way.items() if is_up),
            named(device for device, is_up in state.last_way.items() if not is_up), named(state.shifted),
        )
        for period, site, state, scores in charts
    ]  # fmt: skip
    schema = dict.fromkeys(("period", "measure", "site"), pl.String) | _CHART
    store.append_rows("tally.analyser_chart", pl.DataFrame(rows, schema=schema, orient="row"))
