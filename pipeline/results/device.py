"""People's changes between analysers → result.device; marks of careless entry → result.instrument_check."""

from __future__ import annotations

import polars as pl

from pipeline.programme import Programme
from pipeline.results.instrument_check import build_instrument_checks
from pipeline.results.plain_number import without_nan
from pipeline.statistics.change_contrast import ChangeContrasts
from pipeline.statistics.device_drift import USUAL, Chart, device_table
from pipeline.store import Store, sql_text

# Months of a site in order to a false signal of a fault, at least, by theory. Looked at once a quarter it is some four
# hundred site-years when the model holds: tests/benchmarks/results/device_operating_curve.md.
CHART = Chart(300)
_METHOD = (
    "people's changes against the same kind of people elsewhere, the site's own pace and its other analysers; "
    "Shiryaev–Roberts chart of all faults of the site: a false signal in {months} months at least"
)
_LONE = "; the only analyser that the site names: its drift cannot be told from a change of people's pace"


def build_devices(store: Store, programme: Programme) -> None:
    """Rewrite result.device and result.instrument_check, in the caller's transaction."""
    store.execute_file("53_person_change.sql")
    clothing = store.frame(sql_text("55_clothing_entered.sql"))
    tables = [
        _with_words(device_table(_contrasts(store, measure), USUAL[measure], CHART), measure, clothing)
        for (measure,) in store.rows("select distinct measure from person_change order by measure")
    ]
    if tables:
        store.replace_rows("result.device", pl.concat(tables).sort("site", "device", "measure", "period"))
    else:
        store.execute("delete from result.device")
    store.execute("drop table person_change")
    build_instrument_checks(store, programme)


def _contrasts(store: Store, measure: str) -> ChangeContrasts:
    """Of one measure; cells are fetched a period at a time, since they are hardly fewer than readings."""
    sites, devices, earlier_devices, periods = store.rows(
        "select list(distinct site), list(distinct coalesce(device, '')), list(distinct coalesce(earlier_device, '')), "
        "list(distinct period) from person_change where measure = $measure",
        {"measure": measure},
    )[0]
    cells = sql_text("54_change_cell.sql")
    return ChangeContrasts(
        sites,
        [*devices, *earlier_devices],
        periods,
        lambda period: store.frame(cells, {"measure": measure, "period": period}),
    )


def _with_words(found: pl.DataFrame, measure: str, clothing: pl.DataFrame) -> pl.DataFrame:
    """The columns of result.device."""
    is_clothing = (
        (pl.col("difference") > 0) & (pl.col("less_clothing_kg") >= pl.col("difference") / 2)
        if measure == "weight"
        else pl.lit(False)
    )
    method = _METHOD.format(months=CHART.limit)
    rows = (
        found.join(
            _less_clothing(clothing), on=["site", "device", "period"], how="left", maintain_order="left"
        )
        .with_columns(analysers=pl.col("device").n_unique().over("site"))
        .select(
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
            (
                pl.lit(method) + pl.when(pl.col("analysers") == 1).then(pl.lit(_LONE)).otherwise(pl.lit(""))
            ).alias("method"),
            pl.lit(None, pl.String).alias("flag"),
        )
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
