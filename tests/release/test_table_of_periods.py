"""A table put together of its periods is, byte for byte, the one written whole, whatever is taken over. Mechanics."""

from __future__ import annotations

import itertools
import random
from pathlib import Path

import polars as pl
import pytest

from pipeline.release import csv_runs, parquet_file, table_files, takeover
from pipeline.release.contents import contents_of
from pipeline.release.periods_kept import KeptPeriod
from pipeline.release.runs import runs_of
from pipeline.release.schema import PERCENTILE, TABLES
from pipeline.release.table import published_table
from pipeline.release.table_files import (
    TableFiles,
    listing_of_periods,
    take_over,
    write_table,
    write_table_of_periods,
)
from pipeline.release.takeover import Makings, Takeover

PERIODS = ("2024Q4", "2025Q1", "2025Q2")
WHO_POSITION = next(table for table in TABLES if table.name == "who_position")  # its key begins with the period


def rows_of(period: str, *, seed: int = 1, texts: type[pl.DataType] = pl.Categorical) -> pl.DataFrame:
    """Percentiles of some groups, in no order: not every site has every measure in every period."""
    draw = random.Random(f"{period} {seed}")
    groups = itertools.product(("bmi", "weight"), (None, "east-pier", "west-jetty"), ("all", "male"), (20, 40), (3, 50))
    rows = [
        {"measure": measure, "unit": "kg/m2", "site": site, "period": period, "sex": sex, "age_from": age,
         "age_to": age + 19, "percentile": percentile, "value": draw.choice((None, draw.uniform(15, 40))), "low": None,
         "high": -draw.random(), "n": draw.randrange(30, 2000), "method": 'type 7, "all"', "flag": None}
        for measure, site, sex, age, percentile in groups
        if draw.random() < 0.6
    ]  # fmt: skip
    draw.shuffle(rows)
    frame = pl.DataFrame(rows, schema_overrides={"low": pl.Float64, "flag": pl.String, "site": pl.String})
    return published_table(PERCENTILE, frame.with_columns(pl.col(pl.String).cast(texts)))


def kept(period: str, *, seed: int = 1) -> KeptPeriod:
    return KeptPeriod.of(period, f"{period} made of {seed}", {"percentile": rows_of(period, seed=seed)})


def folder(place: Path) -> Path:
    place.mkdir()
    return place


def written_whole(data: Path, periods: list[KeptPeriod]) -> dict[str, bytes]:
    rows = pl.concat([period.rows("percentile").cast({pl.Categorical: pl.String}) for period in periods])
    write_table(folder(data), PERCENTILE, published_table(PERCENTILE, rows.sample(fraction=1, shuffle=True, seed=2)))
    return bytes_in(data)


def put_together(data: Path, periods: list[KeptPeriod], standing: Takeover | None = None) -> TableFiles:
    return write_table_of_periods(folder(data), listing_of_periods(PERCENTILE, periods), periods, standing)


def bytes_in(data: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(data.iterdir())}


def taken_from(data: Path, files: TableFiles, made_of: str = "all of it") -> Takeover:
    """As a later publication gets it: the runs packed and unpacked."""
    packed = Makings({"percentile": made_of}, {"percentile": files.runs}).runs_packed()
    return Takeover(data, contents_of(data), Makings({"percentile": made_of}, takeover.runs_unpacked(packed)))


@pytest.fixture
def formatted(monkeypatch) -> list[str]:
    """The periods whose rows were written as text."""
    seen, lines = [], csv_runs._lines
    monkeypatch.setattr(csv_runs, "_lines", lambda table, period: seen.append(period.period) or lines(table, period))
    return seen


@pytest.mark.parametrize(("long", "rows_a_group"), [(1, 7), (1, 1 << 18), (100, 7), (100, 1 << 18)])
def test_periods_put_together_are_the_table_written_whole(tmp_path, monkeypatch, long, rows_a_group):
    """With runs that are shown where they lie, and copied ones; in one group of rows of Parquet, and in several."""
    monkeypatch.setattr(table_files, "_LONG", long)
    monkeypatch.setitem(parquet_file._HOW, "row_group_size", rows_a_group)
    periods = [kept(period) for period in PERIODS]
    files = put_together(tmp_path / "together", periods)
    assert bytes_in(tmp_path / "together") == written_whole(tmp_path / "whole", periods)
    assert files.contents == contents_of(tmp_path / "together")
    assert files.listing.height == sum(period.rows("percentile").height for period in periods)
    assert files.listing.words == {"measure": {"bmi", "weight"}, "period": set(PERIODS)}


@pytest.mark.parametrize(
    ("now", "anew"),
    [
        (("2024Q4", "2025Q1", "2025Q2*"), ["2025Q2"]),
        (("2024Q4*", "2025Q1", "2025Q2*"), ["2024Q4", "2025Q2"]),
        (("2025Q1", "2025Q2"), []),
        (("2024Q3", "2024Q4", "2025Q1", "2025Q2", "2025Q3"), ["2024Q3", "2025Q3"]),
        (("2025Q3",), ["2025Q3"]),
    ],
)
def test_of_a_publication_that_stands_periods_made_of_the_same_are_taken(tmp_path, formatted, now, anew):
    """A star is a period whose results are others."""
    before = put_together(tmp_path / "before", [kept(period) for period in PERIODS])
    formatted.clear()
    periods = [kept(name.rstrip("*"), seed=2 if name.endswith("*") else 1) for name in now]
    found = put_together(tmp_path / "now", periods, taken_from(tmp_path / "before", before))
    assert formatted == anew
    assert bytes_in(tmp_path / "now") == written_whole(tmp_path / "whole", periods)
    formatted.clear()
    put_together(tmp_path / "again", periods, taken_from(tmp_path / "now", found))
    assert formatted == [] and bytes_in(tmp_path / "again") == bytes_in(tmp_path / "now")


def test_runs_that_do_not_fit_their_file_are_not_used(tmp_path, formatted):
    periods = [kept(period) for period in PERIODS]
    standing = taken_from(tmp_path / "before", put_together(tmp_path / "before", periods))
    formatted.clear()
    with (tmp_path / "before" / "percentile.csv").open("a") as file:
        file.write("one line more\n")
    put_together(tmp_path / "now", periods, standing)
    assert formatted == list(PERIODS)
    assert bytes_in(tmp_path / "now") == written_whole(tmp_path / "whole", periods)


def test_a_file_that_ends_too_early_is_no_silent_loss(tmp_path):
    periods = [kept(period) for period in PERIODS]
    standing = taken_from(tmp_path / "before", put_together(tmp_path / "before", periods))
    keys = [period.rows("percentile") for period in periods]
    pieces, _ = csv_runs.csv_of_periods(PERCENTILE, periods, runs_of(PERCENTILE, keys), standing.csv("percentile"))
    (tmp_path / "before" / "percentile.csv").write_bytes(b"cut off")
    with pytest.raises(OSError, match="cut off while it was read"):
        list(pieces)


def test_a_table_that_is_as_it_was_is_copied_and_one_that_is_not_is_made(tmp_path):
    periods = [kept(period) for period in PERIODS]
    standing = taken_from(tmp_path / "before", put_together(tmp_path / "before", periods))
    assert standing.has("percentile", "all of it")
    assert not standing.has("percentile", "other things") and not standing.has("prevalence", "all of it")
    listed = listing_of_periods(PERCENTILE, periods)
    found = take_over(folder(tmp_path / "now"), listed, standing)
    assert bytes_in(tmp_path / "now") == bytes_in(tmp_path / "before")
    assert found.contents == contents_of(tmp_path / "now")
    (tmp_path / "before" / "percentile.parquet").write_bytes(b"another")
    assert take_over(folder(tmp_path / "none"), listed, standing) is None
    assert bytes_in(tmp_path / "none") == {}


def test_rows_that_do_not_stay_together_are_refused():
    rows = rows_of("2025Q1").filter(pl.col("site").is_not_null())
    mixed = pl.concat([rows[1:], rows[:1]])
    with pytest.raises(ValueError, match="do not stand together"):
        runs_of(PERCENTILE, [mixed])


def test_a_table_whose_key_begins_with_the_period_is_a_run_a_period():
    rows = [pl.DataFrame({"period": [period] * n, "sex": ["all"] * n, "age_from": range(n), "age_to": range(n),
                          "percentile": [50] * n}) for period, n in (("2025Q1", 2), ("2025Q2", 3))]  # fmt: skip
    runs = runs_of(WHO_POSITION, rows)
    assert (runs.part.tolist(), runs.first.tolist(), runs.rows.tolist()) == ([0, 1], [0, 0], [2, 3])


def test_periods_without_rows_make_a_table_without_rows(tmp_path):
    periods = [KeptPeriod.of("", "nothing", {"percentile": rows_of("2025Q1").clear()})]
    files = put_together(tmp_path / "together", periods)
    assert files.listing.height == 0
    assert bytes_in(tmp_path / "together") == written_whole(tmp_path / "whole", periods)


def test_a_text_with_a_line_break_is_refused(tmp_path):
    rows = rows_of("2025Q1").with_columns(method=pl.lit("two\nlines"))
    with pytest.raises(ValueError, match="a text has a line break"):
        put_together(tmp_path / "data", [KeptPeriod.of("2025Q1", "made of", {"percentile": rows})])
