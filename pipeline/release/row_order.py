"""The order of a published table's rows, and whether two share a key: one whole number a row tells nearly all of it."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline import measures

_ORDERED_WORDS: dict[str, list[str]] = {
    "banding": list(measures.BANDINGS),
    "topic": [*measures.BANDINGS, *measures.MEASURES],
    "measure": list(measures.MEASURES),
    "population": ["all", "site"],
    "sex": ["all", "female", "male"],
}
_MOST = 1 << 62  # numbers stay below, so that they fit 64 bits with their sign


def row_order(rows: pl.DataFrame, key: tuple[str, ...]) -> tuple[np.ndarray | None, int | None]:
    """Where the rows stand in a reader's order, and a row whose key another row has too.

    By the columns of `key` in turn: words in the registry's order and after them, alike, those it does not know and
    null; bands in their banding's order; everything else as it sorts, null first. Rows that this leaves alike stand
    as they came. In a key null is a value like others.
    Shapes   the place of each row, in that order, or None where they stand in it; a place or None.
    """
    numbers, most = np.zeros(rows.height, np.int64), 1
    for name in key:
        ranks, count = _ranks(rows, name, "topic" if "topic" in key else "banding")
        if most * count >= _MOST:  # leave out the numbers that no row has
            numbers = np.unique(numbers, return_inverse=True)[1].astype(np.int64)
            most = rows.height
        numbers *= count
        numbers += ranks
        most *= count
    order = None
    if (numbers[1:] < numbers[:-1]).any():
        order = np.argsort(numbers, kind="stable")
        numbers = numbers[order]
    is_alike = np.zeros(rows.height, bool)
    is_alike[1:] = numbers[1:] == numbers[:-1]
    is_alike[:-1] |= is_alike[1:]
    alike = np.flatnonzero(is_alike) if order is None else order[is_alike]
    repeated = np.flatnonzero(rows[alike].select(key).is_duplicated().to_numpy())
    return order, int(alike[repeated].min()) if repeated.size else None


def _ranks(rows: pl.DataFrame, name: str, of_bands: str) -> tuple[np.ndarray, int]:
    """A column as whole numbers from 0 that sort as its values shall, and a number that is more than all of them."""
    column = rows[name]
    if name == "band":
        return _ranks_of_bands(column, rows[of_bands])
    if name in _ORDERED_WORDS:
        words = _ORDERED_WORDS[name]
        return _ranks_of_words(column, {word: place for place, word in enumerate(words)}, len(words))
    if column.dtype in (pl.String, pl.Categorical):
        words = sorted(column.drop_nulls().unique().to_list())
        return _ranks_of_words(column, {word: place for place, word in enumerate(words, start=1)}, 0)
    distinct = column.drop_nulls().unique().sort()
    ranks, is_there = np.zeros(len(column), np.int64), column.is_not_null().to_numpy()
    ranks[is_there] = np.searchsorted(distinct.to_numpy(), column.drop_nulls().to_numpy()) + 1
    return ranks, len(distinct) + 1


def _ranks_of_words(column: pl.Series, ranks: dict[str, int], of_others: int) -> tuple[np.ndarray, int]:
    """`of_others` is the rank of null, and of each word that `ranks` lacks."""
    places, words = _places(column)
    found = np.array([*(ranks.get(word, of_others) for word in words), of_others], np.int64)
    return found[places], max(*ranks.values(), of_others, 0) + 1


def _ranks_of_bands(bands: pl.Series, bandings: pl.Series) -> tuple[np.ndarray, int]:
    (band, names), (banding, of) = _places(bands), _places(bandings)
    most = max(len(one.bands) for one in measures.BANDINGS.values())
    found = np.zeros((len(of) + 1, len(names) + 1), np.int64)  # no banding: bands are alike
    for at, one in enumerate(of):
        if one in measures.BANDINGS:
            ranks = {band.name: place for place, band in enumerate(measures.BANDINGS[one].bands)}
            found[at] = [ranks.get(name, len(ranks)) for name in (*names, None)]
    return found[banding, band], most + 1


def _places(column: pl.Series) -> tuple[np.ndarray, list[str]]:
    """The place of each value in the list of those that are there; null is past its end."""
    words = column.drop_nulls().unique(maintain_order=True).to_list()
    places = column.cast(pl.Enum(words)).to_physical()
    return places.cast(pl.Int32).fill_null(len(words)).to_numpy(), words
