"""Published tables → the distinct counts in them. A count that is shown in many rows is one cell.

A cell is told by what it counts:

    kind    people   everyone of a group who has a measure, or whom a banding places
            band     those of them in one band
            between  those of them between the edges of two bandings: shown nowhere, but a difference of two that are
            rows     rows or readings received, of data quality; among them the readings set aside, for whatever
                     reason: shown nowhere, but the difference of those accepted and those that count
    family  the banding or measure (people, band), or the item (rows)
    band    the band, or the severity of a check (rows)
    site, period, sex, age_from, age_to; '' and 0 where it has none, '' also for all sites.

Ages are narrowed to those at which the banding or measure applies: adults' BMI from 5 to 99 and from 20 to 99
are the same people, hence the same cell.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline import measures
from pipeline.disclosure.stretches import stretch_of

KEY = ["kind", "family", "band", "site", "period", "sex", "age_from", "age_to"]
GROUP = ["site", "period", "sex", "age_from", "age_to"]
EVERYONE = "measure weight"  # weight is required of every reading
SET_ASIDE = "set aside"
_MOST, _NO_COUNT = 1 << 62, -1
FILES = ("files_held", "out of, files_held", "total files")  # a file is nobody


@dataclass(frozen=True)
class Cells:
    """Every distinct count, and where each row of each table shows it.

    Shapes   frame: KEY, cell (row number), count, parent (the cell whose withholding takes this one along; itself
             when none). places: table → frame with one row a row of that table: the cells it shows.
    Missing  count is null where a published table withholds it.
    """

    frame: pl.DataFrame
    places: dict[str, pl.DataFrame]


def cells_of(tables: dict[str, pl.DataFrame]) -> Cells:
    """The cells of the tables prevalence, percentile, data_quality and total; a table may be absent."""
    runs = {name: _run_of(rows, _ALIKE.get(name)) for name, rows in tables.items() if name in _SHOWN}
    shown = {name: _SHOWN[name](tables[name].filter(run != run.shift(1, fill_value=-1))) for name, run in runs.items()}
    parts = [
        *(frame.select(*KEY, "count") for parts in shown.values() for frame in parts.values()),
        *(_between_edges(shown["prevalence"]["n"].unique()) if "prevalence" in shown else []),
        *(_all_set_aside(**shown["data_quality"]) if "data_quality" in shown else []),
    ]
    frame, cell = _distinct(pl.concat(parts))
    cells = iter(_cut(cell, [part.height for part in parts]))
    places = {
        name: pl.DataFrame({column: next(cells).gather(runs[name]) for column in parts})
        for name, parts in shown.items()
    }
    return Cells(_with_parents(frame), places)


def _run_of(rows: pl.DataFrame, alike: list[str] | None) -> pl.Series:
    """The number of each row's stretch: the rows of one show the same cells."""
    if alike is None:
        return pl.int_range(rows.height, dtype=pl.Int64, eager=True)
    return stretch_of(rows, alike)


def _distinct(long: pl.DataFrame) -> tuple[pl.DataFrame, pl.Series]:
    """The cells in the order of their keys, and the cell of each row."""
    _, first, cell = np.unique(in_order(long, KEY), return_index=True, return_inverse=True)
    count = long["count"].fill_null(_NO_COUNT).to_numpy()
    most_of = np.full(first.size, _NO_COUNT)
    np.maximum.at(most_of, cell, count)  # the withheld twin of a shown count is null
    counts = pl.Series("count", most_of, dtype=pl.Int64)
    frame = long[first].select(KEY).with_columns(counts.set(counts == _NO_COUNT, None)).with_row_index("cell")
    return frame, pl.Series("cell", cell, dtype=pl.UInt32)


def in_order(rows: pl.DataFrame, columns: list[str]) -> np.ndarray:
    """A whole number for each row, which is the same where these columns are and sorts as they do. No nulls."""
    numbers, most = np.zeros(rows.height, np.int64), 1
    for name in columns:
        distinct = rows[name].unique().sort()
        ranks = _ranks(rows[name], distinct)
        if most * len(distinct) >= _MOST:  # leave out the numbers that no row has
            numbers = np.unique(numbers, return_inverse=True)[1].astype(np.int64)
            most = rows.height
        numbers = numbers * len(distinct) + ranks
        most *= len(distinct)
    return numbers


def _ranks(column: pl.Series, distinct: pl.Series) -> np.ndarray:
    """The place of each value among the distinct ones, which are sorted."""
    if column.dtype == pl.String:
        return column.cast(pl.Enum(distinct)).to_physical().cast(pl.Int64).to_numpy()
    return np.searchsorted(distinct.to_numpy(), column.to_numpy())


def _cut(whole: pl.Series, heights: list[int]) -> Iterator[pl.Series]:
    start = 0
    for height in heights:
        yield whole.slice(start, height)
        start += height


def _keyed(rows: pl.DataFrame, count: str, **key: pl.Expr) -> pl.DataFrame:
    empty = {name: pl.lit(0 if name.startswith("age") else "") for name in KEY}
    return rows.select(
        **{
            name: (key.get(name, empty[name])).cast(pl.Int64 if name.startswith("age") else pl.String)
            for name in KEY
        },
        count=pl.col(count).cast(pl.Int64),
    )


def _of_prevalence(rows: pl.DataFrame) -> dict[str, pl.DataFrame]:
    ranges = {banding.name: (banding.age_from, banding.age_to) for banding in measures.BANDINGS.values()}
    key = dict(_group("banding", ranges), family=pl.lit("banding ") + pl.col("banding"))
    return {
        "n": _keyed(rows, "n", kind=pl.lit("band"), band=pl.col("band"), **key),
        "denominator": _keyed(rows, "denominator", kind=pl.lit("people"), **key),
    }


def group_of_percentile() -> dict[str, pl.Expr]:
    """GROUP of each row of percentile, as the cells have it."""
    ranges = {measure.name: (measure.age_from, measure.age_to) for measure in measures.MEASURES.values()}
    return _group("measure", ranges)


def _of_percentile(rows: pl.DataFrame) -> dict[str, pl.DataFrame]:
    key = dict(group_of_percentile(), family=pl.lit("measure ") + pl.col("measure"))
    return {"n": _keyed(rows, "n", kind=pl.lit("people"), **key)}


def _of_data_quality(rows: pl.DataFrame) -> dict[str, pl.DataFrame]:
    is_people = pl.col("item") == "people"
    key = {
        "kind": pl.when(is_people).then(pl.lit("people")).otherwise(pl.lit("rows")),
        "site": pl.col("site").fill_null(""),
        "period": pl.col("period").fill_null(""),
        "sex": pl.when(is_people).then(pl.lit("all")).otherwise(pl.lit("")),
        "age_from": pl.when(is_people).then(measures.AGE_LOW).otherwise(0),
        "age_to": pl.when(is_people).then(measures.AGE_HIGH).otherwise(0),
    }
    is_check = pl.col("severity").is_in(["hold", "set_aside", "flag"])
    severity = pl.when(is_check).then(pl.col("severity")).otherwise(pl.lit(""))
    out_of = pl.when(is_people).then(pl.lit("people")).otherwise(pl.lit("out of, ") + pl.col("item"))
    return {
        "n": _keyed(rows, "n", family=pl.col("item"), band=severity, **key),
        "denominator": _keyed(rows, "denominator", family=out_of, **key),
    }


def _of_total(rows: pl.DataFrame) -> dict[str, pl.DataFrame]:
    return {"n": _keyed(rows, "n", kind=pl.lit("rows"), family=pl.lit("total ") + pl.col("item"))}


_SHOWN = {
    "prevalence": _of_prevalence,
    "percentile": _of_percentile,
    "data_quality": _of_data_quality,
    "total": _of_total,
}
_ALIKE = {"percentile": ["measure", "site", "period", "sex", "age_from", "age_to", "n"]}


def _group(name: str, ranges: dict[str, tuple[int, int]]) -> dict[str, pl.Expr]:
    lowest = pl.col(name).replace_strict({k: v[0] for k, v in ranges.items()}, return_dtype=pl.Int64)
    highest = pl.col(name).replace_strict({k: v[1] for k, v in ranges.items()}, return_dtype=pl.Int64)
    return {
        "site": pl.col("site").fill_null(""),
        "period": pl.col("period"),
        "sex": pl.col("sex"),
        "age_from": pl.max_horizontal(pl.col("age_from").cast(pl.Int64), lowest),
        "age_to": pl.min_horizontal(pl.col("age_to").cast(pl.Int64), highest),
    }


# ---- counts that no table shows ---------------------------------------------------------------------------


def _between_edges(bands: pl.DataFrame) -> list[pl.DataFrame]:
    """The two adult BMI bandings cut the same people at 18.5, 25, 30, 35, 40 and at 18.5, 23, 27.5. Side by side
    they also tell how many lie between 23 and 25, 25 and 27.5, and 27.5 and 30."""
    joined = (
        _band(bands, "bmi_adult", "normal")
        .join(_band(bands, "bmi_adult", "overweight"), on=GROUP, suffix="_overweight")
        .join(_band(bands, "bmi_adult_asian", "acceptable_risk"), on=GROUP, suffix="_acceptable")
        .join(_band(bands, "bmi_adult_asian", "increased_risk"), on=GROUP, suffix="_increased")
    )
    from_23 = pl.col("count") - pl.col("count_acceptable")
    from_25 = pl.col("count_increased") - from_23
    from_27 = pl.col("count_overweight") - from_25
    return [
        joined.select(
            kind=pl.lit("between"),
            family=pl.lit("banding bmi_adult"),
            band=pl.lit(band),
            **{name: pl.col(name) for name in GROUP},
            count=count,
        )
        for band, count in (("23 to 25", from_23), ("25 to 27.5", from_25), ("27.5 to 30", from_27))
    ]


def _all_set_aside(n: pl.DataFrame, denominator: pl.DataFrame) -> list[pl.DataFrame]:
    """Accepted readings without those that count: each once, also where it has two reasons to be set aside."""
    accepted = denominator["count"].alias("accepted")
    left = n.with_columns(family=pl.lit(SET_ASIDE), count=accepted - pl.col("count"))
    return [left.filter(n["family"] == "readings")]


def _band(bands: pl.DataFrame, banding: str, band: str) -> pl.DataFrame:
    return bands.filter((pl.col("family") == f"banding {banding}") & (pl.col("band") == band)).select(
        *GROUP, "count"
    )


def _with_parents(frame: pl.DataFrame) -> pl.DataFrame:
    """A band goes with its group; a group with everyone of that group; a number of rows with what it is out of;
    what is set aside with the readings that count, without which it is not told."""
    people = frame.filter(pl.col("kind") == "people")
    group = people.select("family", *GROUP, group_cell="cell").with_columns(kind=pl.lit("band"))
    everyone = people.filter(pl.col("family") == EVERYONE).select("kind", *GROUP, everyone_cell="cell")
    out_of = (
        frame.filter(pl.col("family").str.starts_with("out of, "))
        .select("site", "period", pl.col("family").str.strip_prefix("out of, "), out_of_cell="cell")
        .with_columns(kind=pl.lit("rows"))
    )
    counting = frame.filter(family="readings").select(
        "kind", "site", "period", family=pl.lit(SET_ASIDE), counting_cell="cell"
    )
    return (
        frame.join(group, on=["kind", "family", *GROUP], how="left")
        .join(everyone, on=["kind", *GROUP], how="left")
        .join(out_of, on=["kind", "family", "site", "period"], how="left")
        .join(counting, on=["kind", "family", "site", "period"], how="left")
        .with_columns(
            parent=pl.coalesce("group_cell", "everyone_cell", "out_of_cell", "counting_cell", "cell")
        )
        .sort("cell")
        .drop("group_cell", "everyone_cell", "out_of_cell", "counting_cell")
    )
