"""Long tables into cells: mechanics."""

from __future__ import annotations

from itertools import product

import polars as pl
import pytest

from dashboards.cubes import NO_ROW, PUBLISHED, UNRELIABLE, WITHHELD, Column, Dimension, cube

SEX = Dimension("sex", ("all", "female"), ("All", "Female"))
BAND = Dimension("band", ("low", "high"), ("Low", "High"))
FIGURES = {"share": Column("proportion", 1000, 1), "n": Column("n")}


def rows(*values):
    return pl.DataFrame(values, orient="row", schema={
        "sex": pl.String, "band": pl.String, "proportion": pl.Float64, "n": pl.Int64, "flag": pl.String})  # fmt: skip


def test_a_cell_is_found_by_its_keys_and_rounded_half_up():
    made = cube(rows(("female", "high", 0.2445, 7, None)), [SEX, BAND], FIGURES)
    assert made.cell({"sex": "female", "band": "high"}) == {"state": PUBLISHED, "share": 245, "n": 7}
    assert made.states == NO_ROW * 3 + PUBLISHED


def test_a_cell_without_a_row_is_not_a_zero():
    made = cube(rows(("all", "low", 0.5, 5, None)), [SEX, BAND], FIGURES)
    assert made.cell({"sex": "all", "band": "high"}) == {"state": NO_ROW, "share": None, "n": None}


def test_a_withheld_cell_carries_no_figure_even_if_the_file_does():
    made = cube(rows(("all", "low", 0.5, 5, "withheld")), [SEX, BAND], FIGURES)
    assert made.cell({"sex": "all", "band": "low"}) == {"state": WITHHELD, "share": None, "n": None}


def test_an_unreliable_cell_keeps_its_figure_and_its_mark():
    made = cube(rows(("all", "low", 0.5, 5, "unreliable")), [SEX, BAND], FIGURES)
    assert made.cell({"sex": "all", "band": "low"}) == {"state": UNRELIABLE, "share": 500, "n": 5}


def test_keys_outside_the_axes_are_left_out():
    made = cube(rows(("male", "low", 0.5, 5, None)), [SEX, BAND], FIGURES)
    assert set(made.states) == {NO_ROW}


def test_two_rows_for_one_cell_are_an_error():
    twice = rows(("all", "low", 0.5, 5, None), ("all", "low", 0.6, 6, None))
    with pytest.raises(ValueError, match=r"two rows for one cell.*low"):
        cube(twice, [SEX, BAND], FIGURES)


def test_walking_goes_in_reading_order_with_the_last_axis_fastest():
    made = cube(rows(("all", "low", 0.1, 1, None), ("all", "high", 0.2, 2, None), ("female", "low", 0.3, 3, None)),
                [SEX, BAND], FIGURES)  # fmt: skip
    assert [cell["n"] for _, cell in made.walk(["sex", "band"], {})] == [1, 2, 3, None]
    assert [cell["n"] for _, cell in made.walk(["band"], {"sex": "all"})] == [1, 2]


def test_walking_where_a_choice_is_off_its_axis_finds_no_rows():
    made = cube(rows(("all", "low", 0.1, 1, None)), [SEX, BAND], FIGURES)
    found = list(made.walk(["band"], {"sex": "male"}))
    assert [keys["band"] for keys, _ in found] == ["low", "high"]
    assert all(cell == {"state": NO_ROW, "share": None, "n": None} for _, cell in found)


@pytest.mark.parametrize("place", [0, 1, 2])
def test_a_narrowed_cube_has_the_cells_of_one_made_with_fewer_keys(place):
    wide = [SEX, BAND, Dimension("site", ("", "east", "north", "west"), ("All", "East", "North", "West"))]
    wide[place], wide[2] = wide[2], wide[place]
    values = [
        (sex, band, site, (i + 1) / 100, i, flag)
        for i, (sex, band, site, flag) in enumerate(
            product(("all", "female"), ("low", "high"), ("", "north", "west"), (None,))
        )
    ]
    frame = pl.DataFrame(values, orient="row", schema={
        "sex": pl.String, "band": pl.String, "site": pl.String, "proportion": pl.Float64, "n": pl.Int64,
        "flag": pl.String})  # fmt: skip
    few = Dimension("site", ("west", ""), ("West Pier", "Every site"))
    expected = cube(frame, [few if axis.name == "site" else axis for axis in wide], FIGURES)
    assert cube(frame, wide, FIGURES).narrowed(few) == expected
