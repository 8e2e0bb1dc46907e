"""People's changes between analysers → result.device."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import polars as pl

from pipeline.programme import Programme
from pipeline.results import kept_change
from pipeline.results.person_change import ChangesOfMeasure, person_changes
from pipeline.results.plain_number import without_nan
from pipeline.statistics.device_drift import USUAL, Chart, DeviceCharts, device_table
from pipeline.store import Store, sql_text

# Months of a site in order to a false signal of a fault, at least, by theory. Looked at once a quarter it is some four
# hundred site-years when the model holds: tests/benchmarks/results/device_operating_curve.md.
CHART = Chart(300)
_METHOD = (
    "people's changes against the same kind of people elsewhere, the site's own pace and its other analysers; "
    "Shiryaev–Roberts chart of all faults of the site: a false signal in {months} months at least"
)
_LONE = "; the only analyser that the site names: its drift cannot be told from a change of people's pace"


def build_devices(store: Store, programme: Programme, periods: Sequence[str] | None = None) -> None:
    """Rewrite result.device from the first of the touched periods on.

    `periods`: those whose readings changed since, where the caller knows that nothing else did; None for all. In the
    caller's transaction. An analyser is judged by what was known at a period's end, so that no earlier one changes.
    """
    if periods is not None and not periods:
        return
    first = min(periods) if periods is not None else None
    store.execute("delete from result.device where $first is null or period >= $first", {"first": first})
    clothing = store.frame(sql_text("55_clothing_entered.sql"))
    for measure, found in charted(store, first):
        store.append_rows("result.device", _with_words(found, measure, clothing))


def charted(store: Store, first: str | None = None) -> Iterator[tuple[str, pl.DataFrame]]:
    """Each measure with the device_table of the periods from the first on; what later ones need of them is kept."""
    kept_change.forget(store, first)
    with person_changes(store, first) as changes:
        for measure in changes.measures:
            yield measure, _charted(store, changes.of(measure), first)


def _charted(store: Store, changes: ChangesOfMeasure, first: str | None) -> pl.DataFrame:
    measure, places = changes.measure, changes.places
    before, scores = kept_change.states_before(store, measure, first, places)
    charts = DeviceCharts(places.devices, USUAL[measure], CHART, before, scores)
    rows, contrasts, states = [], [], []
    for period in changes.periods:
        found = changes.next(period)
        rows += charts.next(period, found)
        contrasts += [(period, site, of_site) for site, of_site in found.items()]
        states += [(period, site, charts.sites[site].state, charts.sites[site].scores()) for site in found]
        kept_change.keep_sums(store, measure, period, changes.contrasts.added, places)
    kept_change.keep_contrasts(store, measure, contrasts, places.devices)
    kept_change.keep_charts(store, measure, states, places.devices)
    return device_table(rows)


def _with_words(found: pl.DataFrame, measure: str, clothing: pl.DataFrame) -> pl.DataFrame:
    """The columns of result.device."""
    is_clothing = (
        (pl.col("difference") > 0) & (pl.col("less_clothing_kg") >= pl.col("difference") / 2)
        if measure == "weight"
        else pl.lit(False)
    )
    method = _METHOD.format(months=CHART.limit)
    rows = found.join(
        _less_clothing(clothing), on=["site", "device", "period"], how="left", maintain_order="left"
    ).select(
        "site",
        pl.when(pl.col("device") != "").then("device").alias("device"),
        pl.lit(measure).alias("measure"),
        "period",
        "n",
        "difference",
        "low",
        "high",
        "upper_sum",
        "lower_sum",
        pl.lit(CHART.decision).alias("decision"),
        pl.when((pl.col("signal") != "") & is_clothing.fill_null(False))
        .then(pl.lit("clothing weight"))
        .otherwise("signal")
        .alias("signal"),
        (pl.lit(method) + pl.when("is_lone").then(pl.lit(_LONE)).otherwise(pl.lit(""))).alias("method"),
        pl.lit(None, pl.String).alias("flag"),
    )
    return without_nan(rows)


def _less_clothing(clothing: pl.DataFrame) -> pl.DataFrame:
    """By how much less clothing is taken off a reading than in the periods before, by analyser.

    Shapes   clothing: of sql/55_clothing_entered.sql; out: columns site, device, period, less_clothing_kg.
    Missing  an analyser's first period has null.
    """
    analyser = ["site", "device"]
    running = clothing.sort("site", "device", "period").with_columns(
        n_before=pl.col("n").cum_sum().over(analyser) - pl.col("n"),
        kg_before=pl.col("clothing_weight_kg").cum_sum().over(analyser) - pl.col("clothing_weight_kg"),
    )
    before = pl.when(pl.col("n_before") > 0).then(pl.col("kg_before") / pl.col("n_before"))
    return running.select(
        "site", "device", "period", less_clothing_kg=before - pl.col("clothing_weight_kg") / pl.col("n")
    )
