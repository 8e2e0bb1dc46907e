"""What a later version of a release says otherwise than the one before it: the table `restatement`."""

from __future__ import annotations

import polars as pl

from pipeline.release.column import POLARS_TYPES, Column, Table

_TOPICS = ("banding", "topic", "measure", "item", "check")
_PLACES = ("band", "population", "site", "period", "sex", "age_from", "age_to")
_VERSIONS = "this release and the version before it"


def _text(name: str, title: str, description: str) -> Column:
    return Column(name, "string", title, description, "none", _VERSIONS)


RESTATEMENT = Table(
    "restatement",
    "What changed since the version before",
    "Every published figure of this version that differs from the version before it. A figure that is not here is "
    "the same on paper: nothing changed, or so few people did that telling it would point to them.",
    "",
    (
        "table",
        "figure",
        "topic",
        "band",
        "population",
        "site",
        "period",
        "sex",
        "age_from",
        "age_to",
        "detail",
    ),
    (
        Column(
            "table",
            "string",
            "Table",
            "The table that holds the figure.",
            "none",
            _VERSIONS,
            {"required": True},
        ),
        Column(
            "figure", "string", "Figure", "Its column in that table.", "none", _VERSIONS, {"required": True}
        ),
        _text("topic", "Topic", "The banding, measure, item or check of the row."),
        _text("band", "Band", "The band of the row, where it has one."),
        _text("population", "Population", "all or site, where the row says so."),
        _text("site", "Site", "Identifier of the site; empty for all sites together."),
        _text("period", "Period", "Period of the row; empty for all periods."),
        _text("sex", "Sex", "Sex of the row, where it has one."),
        Column("age_from", "integer", "Age from", "Youngest age of the row's group.", "a", _VERSIONS),
        Column("age_to", "integer", "Age to", "Oldest age of the row's group.", "a", _VERSIONS),
        _text("detail", "Detail", "What else tells the row from others, such as percentile=50."),
        Column(
            "old",
            "number",
            "Old figure",
            "In the version before. Empty where it was not shown.",
            "1",
            _VERSIONS,
        ),
        Column(
            "new", "number", "New figure", "In this version. Empty where it is not shown.", "1", _VERSIONS
        ),
    ),
)


def restatement_rows(
    tables: list[Table], old: dict[str, pl.DataFrame], new: dict[str, pl.DataFrame]
) -> pl.DataFrame:
    """Every number that differs, in the order of the tables and their rows.

    Shapes   old, new: published tables, columns as the schema has them; out: the columns of RESTATEMENT.
    """
    found = [
        _of_table(table, old[table.name], new[table.name])
        for table in tables
        if table.name in old and table.name in new
    ]
    schema = {column.name: POLARS_TYPES[column.type] for column in RESTATEMENT.columns}
    return pl.concat([pl.DataFrame(schema=schema), *found])


def _of_table(table: Table, old: pl.DataFrame, new: pl.DataFrame) -> pl.DataFrame:
    key = list(table.key)
    kinds = {column.name: column.type for column in table.columns}
    figures = [name for name, kind in kinds.items() if name not in key and kind in ("integer", "number")]
    both = new.join(old, on=key, how="full", suffix=" old", coalesce=True, nulls_equal=True)
    parts = []
    for figure in figures:
        before, after = pl.col(f"{figure} old").cast(pl.Float64), pl.col(figure).cast(pl.Float64)
        changed = both.filter(before.ne_missing(after))
        parts.append(
            changed.select(
                table=pl.lit(table.name),
                figure=pl.lit(figure),
                topic=_first(key, _TOPICS),
                **{name: pl.col(name) if name in key else pl.lit(None) for name in _PLACES},
                detail=_detail(key),
                old=before,
                new=after,
            ).cast({column.name: POLARS_TYPES[column.type] for column in RESTATEMENT.columns})
        )
    return pl.concat(parts)


def _first(key: list[str], names: tuple[str, ...]) -> pl.Expr:
    return next((pl.col(name) for name in names if name in key), pl.lit(None))


def _detail(key: list[str]) -> pl.Expr:
    told = {next((name for name in _TOPICS if name in key), ""), *_PLACES}
    rest = [name for name in key if name not in told]
    if not rest:
        return pl.lit(None, dtype=pl.String)
    return pl.concat_str(
        [pl.format("{}={}", pl.lit(name), pl.col(name).cast(pl.String).fill_null("")) for name in rest],
        separator="; ",
    )
