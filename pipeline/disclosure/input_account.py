"""What a frozen release says of the files it was made from, site by site: told whole, or not at all.

A count of 1 to minimum_count - 1 rows is withheld everywhere else, so here too; and since the account runs over all
files so far, two releases side by side tell the rows between them, which are held to the same rule. A site's line adds
up exactly, hence it is shown with every count or with none. Files are counted openly: a file is nobody.
"""

from __future__ import annotations

import polars as pl

ROWS = ("rows_read", "rows_accepted", "rows_held", "rows_duplicate", "rows_superseded")
ALL_SITES = ""


def account_as_published(rows: pl.DataFrame, earlier: list[pl.DataFrame], minimum_count: int) -> pl.DataFrame:
    """A line a site and one for all sites together (site ''), counts null where they are withheld.

    Shapes   rows: site, files and ROWS; earlier: the accounts that other releases published; out: the same columns.
    The line of all sites is withheld where the sites withheld would follow from it.
    """
    whole = rows.select(
        pl.lit(ALL_SITES).alias("site"), pl.col("files").sum(), *(pl.col(name).sum() for name in ROWS)
    )
    is_open = _is_open(rows, earlier, minimum_count)
    hidden = rows.filter(~is_open)
    rest = hidden.select(*(pl.col(name).sum() for name in ROWS))
    rest_is_safe = hidden.height == 0 or (
        hidden.height > 1 and not any(_is_few(value, minimum_count) for value in rest.row(0))
    )
    rest_is_safe &= not any(
        _is_few(change, minimum_count)
        for account in earlier
        for change in _rest_between(whole, rows.filter(is_open), account)
    )
    whole_is_open = _is_open(whole, earlier, minimum_count) & rest_is_safe
    return pl.concat([_shown(whole, whole_is_open), _shown(rows.select(whole.columns), is_open)])


def _is_open(rows: pl.DataFrame, earlier: list[pl.DataFrame], minimum_count: int) -> pl.Series:
    few = [any(_is_few(row[name], minimum_count) for name in ROWS) for row in rows.to_dicts()]
    for account in earlier:
        before = {row["site"]: row for row in account.to_dicts()}
        for place, row in enumerate(rows.to_dicts()):
            then = before.get(row["site"])
            if then is not None and then["rows_read"] is not None:
                few[place] |= any(_is_few(row[name] - then[name], minimum_count) for name in ROWS)
    return pl.Series([not one for one in few], dtype=pl.Boolean)


def _rest_between(whole: pl.DataFrame, open_lines: pl.DataFrame, account: pl.DataFrame) -> list[int]:
    """What the lines of all sites, then and now, leave of the change when the sites shown both times are taken off."""
    then = {row["site"]: row for row in account.drop_nulls("rows_read").to_dicts()}
    if ALL_SITES not in then:
        return []
    now = whole.row(0, named=True)
    both = [row for row in open_lines.to_dicts() if row["site"] in then]
    return [
        now[name] - then[ALL_SITES][name] - sum(row[name] - then[row["site"]][name] for row in both) for name in ROWS
    ]


def _is_few(count: int, minimum_count: int) -> bool:
    return 1 <= abs(count) < minimum_count


def _shown(rows: pl.DataFrame, is_open: pl.Series) -> pl.DataFrame:
    return rows.with_columns(
        pl.when(is_open).then(pl.col(name)).otherwise(None).cast(pl.Int64).alias(name) for name in ROWS
    )
