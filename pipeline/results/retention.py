"""Who was seen again → result.retention, result.retention_balance."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import polars as pl

from pipeline.results.plain_number import without_nan
from pipeline.statistics.clustered_proportion import clustered_proportion, korn_graubard_interval
from pipeline.statistics.proportion_interval import wilson_interval
from pipeline.statistics.reliability import LEAST_PEOPLE
from pipeline.statistics.retention_weights import standardised_difference
from pipeline.store import Store, sql_text

UNDUE = ("not_due", "site_silent")
SEEN = ("seen", "seen_elsewhere")
FOLLOWED = "followed"  # seen or seen_elsewhere
STATUSES = ("seen", "seen_elsewhere", "not_counted", "missed", "gone")
_WILSON, _CLUSTERED = "Wilson interval", "Korn–Graubard interval, sites of entry as clusters"


def build_retention(store: Store, stages: Mapping[str, tuple[int, int]], counts: pl.DataFrame) -> None:
    """Rewrite result.retention, in the caller's transaction.

    counts: of sql/57_outcome_status.sql, of every follow-up.
    """
    rows = []
    for (stage, months), part in counts.group_by("stage", "months", maintain_order=True):
        head = (months, *stages[stage])
        rows += _of_everybody(part, head)
        rows += _of_each(part, head, "site")
        rows += _of_each(part, head, "entry_period")
    table = pl.DataFrame(rows, schema=_SCHEMA, orient="row")
    store.replace_rows("result.retention", without_nan(table))


_SCHEMA = {
    "months": pl.Int16, "age_from": pl.Int16, "age_to": pl.Int16, "site": pl.String, "entry_period": pl.String,
    "status": pl.String, "n": pl.Int64, "denominator": pl.Int64, "proportion": pl.Float64, "low": pl.Float64,
    "high": pl.Float64, "method": pl.String, "flag": pl.String,
}  # fmt: skip


def _of_everybody(part: pl.DataFrame, head: tuple) -> Iterator[tuple]:
    sites = part["site"].unique().sort().to_list()

    def by_site(statuses: tuple[str, ...]) -> np.ndarray:
        rows = part.filter(pl.col("status").is_in(statuses)).group_by("site").agg(pl.sum("n"))
        found = dict(rows.iter_rows())
        return np.array([found.get(site, 0) for site in sites], dtype=float)

    everyone, due = by_site((*UNDUE, *STATUSES)), by_site(STATUSES)
    for status in (FOLLOWED, *STATUSES, *UNDUE):
        people = by_site(SEEN if status == FOLLOWED else (status,))
        of = everyone if status in UNDUE else due
        if not of.sum():
            continue
        cell = clustered_proportion(people, of)
        low, high = korn_graubard_interval(cell)
        yield _row(head, None, None, status, people.sum(), of.sum(), low[0], high[0], _CLUSTERED)


def _of_each(part: pl.DataFrame, head: tuple, column: str) -> Iterator[tuple]:
    due = part.filter(pl.col("status").is_in(STATUSES))
    counted = (
        due.group_by(column)
        .agg(n=pl.col("n").filter(pl.col("status").is_in(SEEN)).sum(), of=pl.sum("n"))
        .sort(column)
    )
    low, high = wilson_interval(counted["n"].to_numpy(), counted["of"].to_numpy())
    for i, (key, n, of) in enumerate(counted.iter_rows()):
        place = (key, None) if column == "site" else (None, key)
        yield _row(head, *place, FOLLOWED, n, of, low[i], high[i], _WILSON)


def _row(head, site, period, status, n, of, low, high, method) -> tuple:
    flag = "unreliable" if of < LEAST_PEOPLE else None
    return (*head, site, period, status, int(n), int(of), n / of, float(low), float(high), method, flag)


def build_retention_balance(store: Store) -> None:
    """Rewrite result.retention_balance, in the caller's transaction."""
    counts = store.frame(sql_text("57_outcome_balance.sql"))
    whole = ["months", "covariate"]
    rows = counts.with_columns(
        share_due=pl.col("n_due") / pl.col("n_due").sum().over(whole),
        share_seen=pl.col("n_seen") / pl.col("n_seen").sum().over(whole),
        share_weighted=pl.col("w") / pl.col("w").sum().over(whole),
    )
    table = rows.select(
        "months",
        "covariate",
        "level",
        pl.col("n_seen").alias("n"),
        pl.col("n_due").alias("denominator"),
        "share_due",
        "share_seen",
        "share_weighted",
        pl.Series("difference_before", standardised_difference(rows["share_seen"], rows["share_due"])),
        pl.Series("difference_after", standardised_difference(rows["share_weighted"], rows["share_due"])),
        pl.lit("standardised difference of shares, those seen against all who were due (Austin 2009)").alias(
            "method"
        ),
        pl.lit(None, pl.String).alias("flag"),
    )
    store.replace_rows("result.retention_balance", without_nan(table))
