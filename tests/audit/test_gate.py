"""The gate reads a whole folder: a leak planted in any one of its files is found, and the clean folder passes.

All people are invented; the page is shaped like the release's own.
"""

from __future__ import annotations

import json

import numpy as np
import polars as pl
import pytest
import small_release
from invented_counts import at, prevalence, withheld
from small_release import RULES, cube_of, write, write_page
from test_attacks import SMALL, roomy, square

from pipeline.audit import SUMMARY, require_sound
from pipeline.faults import Fault


@pytest.fixture
def truth() -> dict[str, pl.DataFrame]:
    return {"prevalence": prevalence(roomy())}


@pytest.fixture
def shown(truth) -> pl.DataFrame:
    return withheld(truth["prevalence"], square())


@pytest.fixture
def folder(tmp_path, shown):
    folder = write(tmp_path / "release", {"prevalence": shown})
    write_page(folder, cube_of(shown))
    return folder


def refused(folder, truth) -> Fault:
    with pytest.raises(Fault) as caught:
        require_sound(folder, truth, RULES)
    assert caught.value.exit_code == 1 and not (folder / SUMMARY).exists()
    return caught.value


def small_cell(cube: dict) -> int:
    """The place of the withheld three: women at North Quay, under."""
    sexes, sites, bands = (dimension["keys"] for dimension in cube["dimensions"])
    return (sexes.index("female") * len(sites) + sites.index("site-0")) * len(bands) + bands.index("under")


def test_a_sound_release_passes_and_its_proof_is_written_without_a_count(folder, truth):
    audit = require_sound(folder, truth, RULES)
    assert audit.is_sound
    written = json.loads((folder / SUMMARY).read_text())
    assert written["sensitive"] == 1 and written["unprotected"] == 0
    assert written["proved_by_example"] + written["proved_by_programme"] == 1
    assert written["narrowest_over_required"] >= 1
    assert written["counts"] == truth["prevalence"].height + truth["prevalence"].height // 4
    assert "site-0" not in json.dumps(written)


def test_a_release_that_gives_a_count_away_is_refused_by_its_groups_name_and_without_the_number(
    tmp_path, truth
):
    shown = withheld(truth["prevalence"], square(bands=("under",)))
    fault = refused(write(tmp_path / "release", {"prevalence": shown}), truth)
    assert "body_fat, under, site-0, 2025Q1, female, 20–29" in fault.found
    assert "follows from sums" in fault.found
    assert not {"3", "3.0"} & set(fault.found.replace(",", " ").replace(";", " ").split())
    assert fault.expected and fault.next and str(tmp_path) in fault.where


def test_a_number_that_only_the_csv_shows_is_found(folder, truth):
    leaky = withheld(truth["prevalence"], square() & ~at(**SMALL))
    leaky.write_csv(folder / "data" / "prevalence.csv")
    assert "data/prevalence.csv differs from table prevalence" in refused(folder, truth).found


def test_a_number_that_only_the_parquet_shows_is_found(folder, truth):
    leaky = withheld(truth["prevalence"], square() & ~at(**SMALL))
    leaky.write_parquet(folder / "data" / "prevalence.parquet")
    write_page(folder, cube_of(leaky))
    leaky_csv = pl.read_csv(folder / "data" / "prevalence.csv")
    assert leaky_csv.height == leaky.height
    assert "body_fat, under, site-0" in refused(folder, truth).found


@pytest.mark.parametrize(
    "head",
    [str, lambda name: name.replace("_", " ").capitalize(), lambda name: f"{name} ({{person}})"],
    ids=["names", "titles", "names and units"],
)
def test_a_number_that_only_a_workbook_shows_is_found(folder, truth, shown, head):
    xlsxwriter = pytest.importorskip("xlsxwriter")
    leaky = withheld(truth["prevalence"], square() & ~at(**SMALL))
    for rows, is_leaky in ((shown, False), (leaky, True)):
        with xlsxwriter.Workbook(folder / "data" / "release.xlsx") as book:
            sheet = book.add_worksheet("Prevalence")
            heads = [head(name) for name in rows.columns]
            sheet.write_row(0, 0, heads)
            for i, row in enumerate(rows.iter_rows(), start=1):
                sheet.write_row(i, 0, ["" if value is None else value for value in row])
        if is_leaky:
            assert "release.xlsx, sheet Prevalence differs" in refused(folder, truth).found
        else:
            assert require_sound(folder, truth, RULES).is_sound
            (folder / SUMMARY).unlink()


@pytest.mark.parametrize("column", ["n", "people", "share"])
def test_a_figure_in_a_charts_data_of_a_withheld_cell_is_found(folder, truth, shown, column):
    cube = cube_of(shown)
    cube["columns"][column][small_cell(cube)] = 3
    write_page(folder, cube)
    assert "index.html, chart data shares" in refused(folder, truth).found


def test_a_withheld_number_that_a_chart_shows_as_if_published_is_found(folder, truth, shown):
    cube = cube_of(shown)
    place = small_cell(cube)
    cube["columns"]["n"][place] = 3
    cube["states"] = cube["states"][:place] + "." + cube["states"][place + 1 :]
    write_page(folder, cube)
    assert "index.html, chart data shares: n of female, site-0, under" in refused(folder, truth).found


@pytest.mark.parametrize(
    ("where", "text"),
    [
        ("headline", "At North Quay 3 women were in ‘Under’."),
        ("label", "Chart. North Quay, Under: 3 people."),
        ("row", "<tr><th>North Quay</th><th>Under</th><td>withheld</td><td>3</td></tr>"),
        ("row", "<tr><th>North Quay</th><th>Under</th><td>3.1&nbsp;%</td></tr>"),
        ("row", "<tr title='North Quay, Under: 3'><th>North Quay</th></tr>"),
    ],
)
def test_a_withheld_number_in_the_text_of_a_page_is_found(folder, truth, shown, where, text):
    write_page(folder, cube_of(shown), **{where: text})
    assert "index.html, text" in refused(folder, truth).found


@pytest.mark.parametrize(
    "text",
    [
        "At North Quay in Q3 2025 too few women in ‘Under’ aged 3–9 have a figure: see 95 % intervals.",
        "At East Pier 3 women were in ‘Over’.",  # not a withheld count
        "At North Quay 30 women were in ‘Under’.",  # not its number
    ],
)
def test_text_that_gives_nothing_away_passes(folder, truth, shown, text):
    write_page(folder, cube_of(shown), headline=text)
    assert require_sound(folder, truth, RULES).is_sound


SMALL_SHOWN = {"site": "site-0", "band": "under"}


@pytest.mark.parametrize(
    ("where", "text"),
    [
        ("headline", "3 of those measured."),  # of what the figure shows
        ("note", "With 3 people in ‘Under’."),
        ("row", "<tr><th>Share</th><td>withheld</td><td>3</td></tr>"),
    ],
)
def test_a_number_of_what_the_figure_is_set_to_show_is_found(folder, truth, shown, where, text):
    write_page(folder, cube_of(shown), fixed=SMALL_SHOWN, **{where: text})
    assert "index.html, text" in refused(folder, truth).found


def test_a_note_on_method_may_have_numbers_in_it(folder, truth, shown):
    write_page(folder, cube_of(shown), fixed=SMALL_SHOWN, note="Intervals with 3 sites as clusters.")
    assert require_sound(folder, truth, RULES).is_sound


def test_a_sentence_over_all_bands_is_about_none_of_them(folder, truth, shown):
    write_page(folder, cube_of(shown), headline="3 of the 4 trends of women at North Quay leave it out.")
    assert require_sound(folder, truth, RULES).is_sound


def test_a_row_that_stands_in_one_file_only_is_found(folder, truth, shown):
    extra = pl.concat([shown, truth["prevalence"].filter(at(**SMALL)).with_columns(period=pl.lit("2024Q4"))])
    extra.write_csv(folder / "data" / "prevalence.csv")
    assert "differs" in refused(folder, truth).found


def test_the_cube_of_the_page_is_read_as_it_is_written(shown):
    cube = cube_of(shown)
    assert cube["states"][small_cell(cube)] == "w" and cube["columns"]["n"][small_cell(cube)] is None
    assert np.prod([len(d["keys"]) for d in cube["dimensions"]]) == len(cube["states"])
    assert set(small_release.LABELS["site"]) == {"", *(f"site-{i}" for i in range(4))}
