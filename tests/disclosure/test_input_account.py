"""The input account of a frozen release: whole lines or none, alone and beside earlier accounts."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.disclosure.input_account import ROWS, account_as_published

SCHEMA = {"site": pl.String, "files": pl.Int64, **dict.fromkeys(ROWS, pl.Int64)}


def account(**sites: tuple[int, int, int, int]) -> pl.DataFrame:
    """site → rows accepted, held, duplicate, superseded."""
    return pl.DataFrame(
        [(site, 3, sum(rows), *rows) for site, rows in sorted(sites.items())], schema=SCHEMA, orient="row"
    )


def shown(rows: pl.DataFrame, *earlier: pl.DataFrame) -> set[str]:
    found = account_as_published(rows, list(earlier), 10)
    assert found.filter(
        pl.col("rows_read").is_not_null()
        & (pl.col("rows_read") != pl.sum_horizontal(*(pl.col(name) for name in ROWS[1:])))
    ).is_empty()
    assert (
        found.filter(pl.col("rows_read").is_null())[list(ROWS)].null_count().sum_horizontal().to_list()
        == [len(ROWS) * found["rows_read"].null_count()]
        or not found["rows_read"].null_count()
    )
    assert found["files"].null_count() == 0
    return set(found.filter(pl.col("rows_read").is_not_null())["site"])


@pytest.mark.parametrize(
    ("held", "expected"),
    [(0, {"", "a", "b", "c"}), (10, {"", "a", "b", "c"}), (9, {"b", "c"}), (1, {"b", "c"})],
)
def test_a_line_is_shown_whole_or_not_at_all(held, expected):
    """One line alone would follow from that of all sites, so both go."""
    assert shown(account(a=(100, held, 0, 0), b=(200, 20, 0, 0), c=(300, 30, 0, 0))) == expected


def test_two_lines_that_cover_each_other_leave_the_line_of_all_sites():
    assert shown(account(a=(100, 5, 0, 0), b=(200, 6, 0, 0), c=(300, 30, 0, 0))) == {"", "c"}
    assert shown(account(a=(100, 4, 0, 0), b=(200, 5, 0, 0), c=(300, 30, 0, 0))) == {"c"}  # nine together


@pytest.mark.parametrize(
    ("more", "expected"), [(0, {"", "a", "b"}), (9, {"b"}), (10, {"", "a", "b"}), (-3, {"b"})]
)
def test_rows_between_two_releases_are_held_to_the_same_rule(more, expected):
    before = account_as_published(account(a=(100, 0, 0, 0), b=(200, 0, 0, 0)), [], 10)
    assert shown(account(a=(100 + more, 0, 0, 0), b=(200, 0, 0, 0)), before) == expected


def test_what_two_accounts_leave_of_the_sites_withheld_is_held_to_the_rule_too():
    before = account_as_published(account(a=(100, 5, 0, 0), b=(200, 6, 0, 0), c=(300, 0, 0, 0)), [], 10)
    # the two withheld sites grew by three rows between them, which the lines of all sites and of c would tell
    assert shown(account(a=(102, 5, 0, 0), b=(201, 6, 0, 0), c=(320, 0, 0, 0)), before) == {"c"}
    assert shown(account(a=(110, 5, 0, 0), b=(202, 6, 0, 0), c=(320, 0, 0, 0)), before) == {"", "c"}


def test_a_line_that_was_withheld_before_tells_nothing_now():
    before = account_as_published(account(a=(100, 5, 0, 0), b=(200, 6, 0, 0), c=(300, 0, 0, 0)), [], 10)
    assert "a" in shown(account(a=(107, 10, 0, 0), b=(300, 20, 0, 0), c=(300, 0, 0, 0)), before)
