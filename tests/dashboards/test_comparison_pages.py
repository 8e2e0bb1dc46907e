"""Curves, standardised shares, sites compared and analysers as they stand in the pages' bytes. Mechanics."""

from __future__ import annotations

import json
import re

import polars as pl
import pytest
from invented_comparisons import WHY_NO_CURVE, WHY_REGRESSION
from invented_release import make_release

from dashboards import build_pages
from dashboards.pages import SECTIONS
from dashboards.release import read_release

NEW = ("curve", "percentile_curve", "who_position", "standardised_prevalence", "trend", "site_comparison",
       "site_heterogeneity", "device", "instrument_check")  # fmt: skip


def text_of(folder, name):
    return (folder / f"{name}.html").read_text(encoding="utf-8")


def figure_of(folder, page, figure):
    """The HTML of one figure."""
    return re.search(
        rf'<section class="figure[^"]*" id="{figure}".*?</section>', text_of(folder, page), re.S
    ).group(0)


def rows_of(html):
    rows = [
        re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S)
        for row in re.findall(r"<tr data-state.*?</tr>", html, re.S)
    ]
    return [[re.sub(r"<[^>]+>", "", cell) for cell in row] for row in rows]


# ---- releases without the tables


def test_a_release_made_before_has_its_pages_and_none_of_the_new_figures(tmp_path):
    folder = make_release(tmp_path, sites=3, quarters=3, comparisons=False)
    written = {path.name for path in build_pages(folder)}
    assert {"percentiles-bmi-z.html", "prevalence.html", "sites.html", "data-quality.html"} <= written
    assert not [name for name in written if name.startswith("sites-mean")]
    for figure in ("curves", "reference", "standardised", "trend-fitted", "funnel", "shrunken", "entry"):
        assert not [
            name
            for name in written
            if name.endswith(".html") and f'id="{figure}"' in text_of(folder, name[:-5])
        ]
    assert "where the first and the last interval do not overlap" in text_of(folder, "index")


@pytest.mark.parametrize("without", NEW)
def test_each_new_table_can_be_missing(tmp_path, without):
    folder = make_release(tmp_path, sites=2, quarters=2, without=(without,))
    assert len(build_pages(folder)) > 20


def test_a_table_that_the_release_does_not_list_is_not_read(tmp_path):
    folder = make_release(tmp_path, sites=2, quarters=2, without=("device",))
    pl.DataFrame({"nonsense": [1]}).write_parquet(folder / "data" / "device.parquet")
    build_pages(folder)
    assert "Are the analysers steady?" not in text_of(folder, "data-quality")


# ---- groups without rows in `percentile`


def test_a_group_whose_rows_are_left_out_reads_as_one_whose_rows_are_withheld(tmp_path):
    left_out = make_release(tmp_path / "out", sites=3, quarters=3, base=25)
    kept = make_release(tmp_path / "kept", sites=3, quarters=3, base=25, absent=False)
    rows = [pl.read_parquet(folder / "data" / "percentile.parquet").height for folder in (left_out, kept)]
    assert rows[0] < rows[1]
    build_pages(left_out)
    build_pages(kept)
    compared = 0
    for path in left_out.glob("*.html"):
        if path.name != "methods.html":  # which says how many rows a table has
            assert (kept / path.name).read_bytes() == path.read_bytes(), path.name
            compared += 1
    assert compared > 30
    by_age = figure_of(left_out, "percentiles", "by-age")
    assert ["90–99", "withheld, or none measured"] in rows_of(by_age)
    assert "To protect people" in by_age or "to protect people in small groups" in by_age


# ---- curves and reference


def test_curves_have_a_table_of_every_fifth_year_and_name_their_method(release_folder):
    figure = figure_of(release_folder, "percentiles", "curves")
    rows = rows_of(figure)
    assert [row[1] for row in rows if row[0] == "Female"] == [str(age) for age in range(5, 91, 5)]
    assert "LMS" in figure
    file = pl.read_parquet(release_folder / "data" / "percentile_curve.parquet").filter(
        (pl.col("measure") == "weight") & (pl.col("sex") == "female") & (pl.col("age") == 40)
    )
    values = {row["percentile"]: f"{row['value']:.1f}" for row in file.iter_rows(named=True)}
    row = next(row for row in rows if row[:2] == ["Female", "40"])
    assert [row[i] for i in (2, 3, 4, 5, 7, 8, 9)] == [values[p] for p in (3, 10, 25, 50, 75, 90, 97)]


def test_where_no_curve_is_drawn_the_page_says_why(release_folder):
    figure = figure_of(release_folder, "percentiles-basal-metabolic-rate", "curves")
    assert f"Female and Male: no curve is drawn. The reason: {WHY_NO_CURVE}." in figure
    assert figure.count(WHY_NO_CURVE) == 2  # once in the sentence, once in the text for the chart
    assert "Method" not in figure
    one_sex = figure_of(release_folder, "percentiles-visceral-fat-level", "curves")
    assert f"Male: no curve is drawn. The reason: {WHY_NO_CURVE}." in one_sex
    assert "Method (Female)" in one_sex


def test_a_curve_of_the_second_method_is_never_published_silently(release_folder):
    figure = figure_of(release_folder, "percentiles-fat-mass", "curves")
    assert "quantile regression" in figure
    assert WHY_REGRESSION in figure
    assert {row[6] for row in rows_of(figure)} == {"no interval"}
    assert "no band" in figure


def test_the_reference_stands_beside_every_share(release_folder):
    rows = rows_of(figure_of(release_folder, "percentiles-bmi-z", "reference"))
    assert [row[0] for row in rows] == [
        f"Below the {p} centile" for p in ("3rd", "15th", "50th", "85th", "97th")
    ]
    assert [row[3] for row in rows] == [f"{p}.0\u00a0%" for p in (3, 15, 50, 85, 97)]
    assert 'id="reference"' not in text_of(release_folder, "percentiles")


# ---- shares


def test_the_standardised_share_stands_under_the_crude_one_with_its_standard(release_folder):
    figure = figure_of(release_folder, "prevalence", "standardised")
    rows = rows_of(figure)
    assert [row[1] for row in rows] == ["As measured", "Age-standardised"] * 6
    assert "Standard: the WHO world standard population" in figure
    crude = rows_of(figure_of(release_folder, "prevalence", "now"))
    assert [row[2:] for row in rows[::2]] == [row[1:] for row in crude]


def test_how_the_intervals_are_made_is_said_where_they_are_drawn(release_folder):
    figure = figure_of(release_folder, "prevalence", "now")
    assert "How the intervals are made: Korn-Graubard interval, 95 %, sites as clusters." in figure


def test_an_unreliable_share_is_marked_and_explained(tmp_path):
    folder = make_release(tmp_path, sites=2, quarters=2, base=14)
    build_pages(folder)
    text = text_of(folder, "prevalence")
    marked = re.findall(r'<tr data-state="u">.*?</tr>', text, re.S)
    assert marked
    assert all("(unreliable)" in row for row in marked)
    assert re.search(r"<p data-unreliable>Unreliable .*?: too few people for a precise share", text)


def test_the_sentence_on_change_is_that_of_the_fitted_trend(release_folder):
    folder = release_folder
    trend = pl.read_parquet(folder / "data" / "trend.parquet").filter(
        (pl.col("banding") == "bmi_adult") & (pl.col("sex") == "all") & pl.col("flag").is_null()
    )
    clear = trend.filter((pl.col("low").round(3) > 1) | (pl.col("high").round(3) < 1))
    headline = re.search(r"data-headline>(.*?)<", figure_of(folder, "prevalence", "trend")).group(1)
    assert headline.count("percentage points a period") == clear.height
    table = rows_of(figure_of(folder, "prevalence", "trend-fitted"))
    assert len(table) == 6
    assert {len(row) for row in table} <= {6}


# ---- sites


def test_funnel_rows_link_to_the_page_of_each_site(release_folder):
    figure = figure_of(release_folder, "sites", "funnel")
    links = re.findall(r'<a class="carry" href="(site-[^"]+)"', figure)
    assert len(links) == 6
    assert all((release_folder / link).is_file() for link in links)


def test_the_funnel_says_what_it_can_and_cannot_tell(release_folder):
    for page in ("sites", "sites-mean-weight"):
        figure = figure_of(release_folder, page, "funnel")
        assert "worth a question" in figure
        assert "not proved equal" in figure


def test_no_page_ranks_sites_or_praises_them(release_folder):
    for path in release_folder.glob("sites*.html"):
        words = re.sub(r"<script.*?</script>", "", path.read_text(encoding="utf-8"), flags=re.S).lower()
        assert not re.search(r"\b(rank|best site|worst|top \d|league|outlier|poor|excellent)", words), (
            path.name
        )
        state = json.loads(re.search(r'id="data">(.*?)</script>', path.read_text(encoding="utf-8")).group(1))
        order = next(control for control in state["controls"] if control["name"] == "order")
        assert order["keys"] == ["name", "people"]


def test_means_are_of_the_measures_that_the_release_compares(release_folder):
    compared = set(pl.read_parquet(release_folder / "data" / "site_comparison.parquet")["topic"])
    pages = {path.stem for path in release_folder.glob("sites-mean-*.html")}
    release = read_release(release_folder)
    assert pages == {f"sites-mean-{m.replace('_', '-')}" for m in release.measures if m in compared}
    assert len(pages) > 5


def test_the_spread_between_sites_is_told_with_its_square(release_folder):
    figure = figure_of(release_folder, "sites", "between")
    assert "I²" in figure
    assert "standard deviation" in figure or "chance alone explains" in figure


# ---- analysers


def test_analysers_with_a_signal_are_worth_checking_and_nothing_worse(release_folder):
    figure = figure_of(release_folder, "data-quality", "steady-weight")
    assert "worth checking" in figure
    assert not re.search(r"fault|broken|wrong|error|fail", figure.lower())
    signals = pl.read_parquet(release_folder / "data" / "device.parquet").filter(pl.col("signal") != "")
    shown = [row for row in rows_of(figure) if row[4] not in ("–", "withheld")]
    assert len(shown) == signals.height > 0


def test_of_many_analysers_the_first_view_has_those_that_signalled(tmp_path):
    folder = make_release(tmp_path, sites=20, quarters=3, without=("percentile",))
    release = read_release(folder)
    page = next(page for name, make in SECTIONS if name == "data-quality" for page in make(release))
    figure = next(figure for figure in page.figures if figure.id == "steady-weight")
    signalled = pl.read_parquet(folder / "data" / "device.parquet").filter(pl.col("signal") != "")
    first = figure.chosen["analyser"][1][""]
    assert set(first) == {f"{site}|{device}" for site, device in signalled.select("site", "device").rows()}
    assert figure.chosen["analyser"][1]["site-005"] == ("site-005|A1", "site-005|B2")


def test_a_site_that_names_no_analyser_is_one_instrument(tmp_path):
    folder = make_release(tmp_path, sites=2, quarters=2)
    path = folder / "data" / "device.parquet"
    frame = pl.read_parquet(path).filter(pl.col("device") == "A1")
    frame.with_columns(device=pl.lit(None, dtype=pl.String)).write_parquet(path)
    build_pages(folder)
    names = {row[0] for row in rows_of(figure_of(folder, "data-quality", "steady-weight"))}
    assert names == set(read_release(folder).site_names.values())
