"""Rows of results → rows as published: the columns of the schema, a reader's order, rounded figures."""

from __future__ import annotations

import polars as pl

from pipeline import measures
from pipeline.release.schema import POLARS_TYPES, SIGNIFICANT_DIGITS, Table

_ORDERED_WORDS: dict[str, list[str]] = {
    "banding": list(measures.BANDINGS),
    "topic": [*measures.BANDINGS, *measures.MEASURES],
    "measure": list(measures.MEASURES),
    "population": ["all", "site"],
    "sex": ["all", "female", "male"],
}


def published_table(table: Table, rows: pl.DataFrame) -> pl.DataFrame:
    """The rows of a table as both file formats hold them.

    Shapes   rows: at least the table's columns, any order; out: exactly those, in the schema's order.
    Units    numbers keep SIGNIFICANT_DIGITS significant digits, so that the last bits of a platform's
             arithmetic do not change the files.
    Missing  null stays null; nan and infinities are refused.
    Errors   ValueError when a column is absent, a number is not finite or two rows have one key.
    """
    absent = [name for name in table.column_names if name not in rows.columns]
    if absent:
        raise ValueError(f"table {table.name} lacks {', '.join(absent)}: its query and its schema differ")
    typed = rows.select(
        pl.col(column.name).cast(POLARS_TYPES[column.type], strict=True) for column in table.columns
    )
    rounded = typed.with_columns(
        _rounded(typed[column.name], table.name) for column in table.columns if column.type == "number"
    )
    if rounded.select(table.key).is_duplicated().any():
        first = rounded.filter(rounded.select(table.key).is_duplicated()).select(table.key).row(0)
        raise ValueError(f"table {table.name} has two rows for {first}: look for a join that repeats rows")
    of_bands = "topic" if "topic" in table.key else "banding"
    return rounded.sort(*(_rank(name, of_bands) for name in table.key), nulls_last=False, maintain_order=True)


def _rounded(numbers: pl.Series, table: str) -> pl.Series:
    """Each number as the double nearest to its decimal form: 0.1 stays 0.1, never 0.10000000000000002."""
    if not numbers.drop_nulls().is_finite().all():
        raise ValueError(
            f"table {table}, column {numbers.name}: a figure is not a finite number; missing is null"
        )
    return pl.Series(
        numbers.name,
        [
            None if x is None else float(f"{x:.{SIGNIFICANT_DIGITS}g}") + 0.0 for x in numbers.to_list()
        ],  # no -0.0
        dtype=pl.Float64,
    )


def _rank(name: str, of_bands: str) -> pl.Expr:
    """Sort key of a column: words in the registry's order, bands in their banding's order, the rest as they are.

    `of_bands` is the column that names a band's banding.
    """
    if name == "band":
        places = {band.name: 0 for banding in measures.BANDINGS.values() for band in banding.bands}
        expression = pl.lit(0)
        for banding in measures.BANDINGS.values():
            places = {band.name: i for i, band in enumerate(banding.bands)}
            expression = (
                pl.when(pl.col(of_bands) == banding.name)
                .then(pl.col("band").replace_strict(places, default=len(places), return_dtype=pl.Int64))
                .otherwise(expression)
            )
        return expression
    if name in _ORDERED_WORDS:
        words = _ORDERED_WORDS[name]
        return pl.col(name).replace_strict(
            {word: i for i, word in enumerate(words)}, default=len(words), return_dtype=pl.Int64
        )
    return pl.col(name)
