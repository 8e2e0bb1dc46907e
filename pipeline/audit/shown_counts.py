"""Tables, published or not → the counts of people that their rows show, one row a count, whichever table shows it.

    kind     band: people of a group in one band; people: everybody of a group who has a measure, or whom a banding
             places
    family   a banding, or a measure; everybody measured has a weight, so people in all are people with a weight
    band     '' for people
    site     '' for all sites together
    ages     narrowed to those at which the banding or measure applies: adults' BMI from 5 to 99 is that from 20 to 99

The rows of `trend` are sums over periods and are read apart (sums_over_periods).
"""

from __future__ import annotations

import polars as pl

from pipeline import measures

KEY = ["kind", "family", "band", "site", "period", "sex", "age_from", "age_to"]
GROUP = ["family", "site", "period", "sex", "age_from", "age_to"]
EVERYONE = "weight"
_AGES = {
    **{name: (it.age_from, it.age_to) for name, it in measures.MEASURES.items()},
    **{name: (it.age_from, it.age_to) for name, it in measures.BANDINGS.items()},
}

# Figures that give back, to a reader who can divide, the count beside which they stand.
BESIDE = {
    "prevalence": ("proportion", "low", "high", "design_effect"),
    "standardised_prevalence": ("proportion", "low", "high"),
    "percentile": ("value", "low", "high"),
    "who_position": ("proportion", "low", "high"),
    "data_quality": ("proportion",),
    "site_comparison": ("value", "low", "high", "expected", "ratio", "ratio_low", "ratio_high", "score"),
}


def shown_counts(tables: dict[str, pl.DataFrame]) -> pl.DataFrame:
    """Every count of people that the rows of the tables speak of.

    Shapes   out: columns table, KEY, n, is_beside: the count is empty and a figure beside it is not. A count appears
             once for each row that speaks of it.
    Missing  n is null where the table withholds it.
    """
    parts = [part for name, rows in tables.items() for part in _PARTS.get(name, _none)(rows, name)]
    if not parts:
        return pl.DataFrame(schema=_SCHEMA)
    return pl.concat(parts)


def _bands(rows: pl.DataFrame, table: str, family: str = "banding") -> list[pl.DataFrame]:
    return [
        _keyed(rows, table, "band", family, "n", pl.col("band")),
        _keyed(rows, table, "people", family, "denominator", pl.lit("")),
    ]


def _percentiles(rows: pl.DataFrame, table: str) -> list[pl.DataFrame]:
    return [_keyed(rows, table, "people", "measure", "n", pl.lit("")).unique(maintain_order=True)]


def _positions(rows: pl.DataFrame, table: str) -> list[pl.DataFrame]:
    of_measure = rows.with_columns(measure=pl.lit("bmi_z"), site=pl.lit(None, dtype=pl.String))
    return [
        _keyed(of_measure, table, "people", "measure", "denominator", pl.lit("")).unique(maintain_order=True)
    ]


def _compared(rows: pl.DataFrame, table: str) -> list[pl.DataFrame]:
    is_band = pl.col("band") != ""
    return [
        *_bands(rows.filter(is_band), table, "topic"),
        *(
            _keyed(rows.filter(~is_band), table, "people", "topic", column, pl.lit(""))
            for column in ("n", "denominator")
        ),
    ]


def _quality(rows: pl.DataFrame, table: str) -> list[pl.DataFrame]:
    people = rows.filter(item="people").with_columns(
        measure=pl.lit(EVERYONE),
        sex=pl.lit("all"),
        age_from=pl.lit(measures.AGE_LOW),
        age_to=pl.lit(measures.AGE_HIGH),
    )
    return [_keyed(people, table, "people", "measure", column, pl.lit("")) for column in ("n", "denominator")]


def _none(rows: pl.DataFrame, table: str) -> list[pl.DataFrame]:
    return []


_PARTS = {
    "prevalence": _bands,
    "standardised_prevalence": _bands,
    "percentile": _percentiles,
    "who_position": _positions,
    "site_comparison": _compared,
    "data_quality": _quality,
}
_SCHEMA = {
    "table": pl.String,
    **{name: pl.Int64 if name.startswith("age") else pl.String for name in KEY},
    "n": pl.Int64,
    "is_beside": pl.Boolean,
}


def _keyed(rows: pl.DataFrame, table: str, kind: str, family: str, count: str, band: pl.Expr) -> pl.DataFrame:
    beside = [name for name in BESIDE.get(table, ()) if name in rows.columns]
    is_beside = pl.any_horizontal(pl.col(name).is_not_null() for name in beside) if beside else pl.lit(False)
    return rows.select(
        table=pl.lit(table),
        kind=pl.lit(kind),
        family=pl.col(family),
        band=band,
        site=pl.col("site").fill_null(""),
        period=pl.col("period"),
        sex=pl.col("sex"),
        age_from=pl.max_horizontal(pl.col("age_from").cast(pl.Int64), _ages(family, 0)),
        age_to=pl.min_horizontal(pl.col("age_to").cast(pl.Int64), _ages(family, 1)),
        n=pl.col(count).cast(pl.Int64),
        is_beside=is_beside & pl.col(count).is_null(),
    ).cast(_SCHEMA)


def _ages(column: str, end: int) -> pl.Expr:
    return pl.col(column).replace_strict({k: v[end] for k, v in _AGES.items()}, return_dtype=pl.Int64)
