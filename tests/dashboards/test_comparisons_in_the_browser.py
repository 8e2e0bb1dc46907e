"""Curves, funnel, analysers and checks in a real browser: what a choice draws, tells and links. Mechanics."""

from __future__ import annotations

import polars as pl
import pytest
from invented_comparisons import WHY_NO_CURVE
from invented_release import make_release
from test_in_the_browser import Watched, browser, own_files, table_of

from dashboards import build_pages

pytestmark = pytest.mark.browser
__all__ = ["browser"]  # the fixture of the other browser tests


def test_the_choice_of_sex_draws_its_curves_and_both_sexes_stand_side_by_side(browser, release_folder):
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("percentiles.html")
        titles = page.locator("#curves .panel-title")
        assert titles.all_text_contents() == ["Female", "Male"]
        assert page.locator("#curves svg .mark-line path").count() == 2 * 7
        assert page.locator("#curves svg .mark-area path").count() == 2
        page.get_by_role("radio", name="Male", exact=True).check()
        page.wait_for_function("document.querySelectorAll('#curves .panel-title').length === 1")
        assert titles.all_text_contents() == ["Male"]
        assert {row[0] for row in table_of(page, "curves")} == {"Male"}
        page.get_by_role("radio", name="Female", exact=True).check()
        page.wait_for_function("document.querySelector('#curves .panel-title').textContent === 'Female'")
        assert page.locator("#curves svg .mark-line path").count() == 7
        assert watched.complaints == []


def test_a_curve_ends_where_it_is_withheld_and_is_still_named(browser, release_folder):
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("percentiles.html#sex=male")
        names = page.locator("#curves svg .mark-text.role-mark text").all_text_contents()
        assert names == ["3", "10", "25", "50", "75", "90", "97"]
        row = next(row for row in table_of(page, "curves") if row[1] == "90")
        assert [row[2], row[9]] == ["withheld", "withheld"]
        assert "withheld" not in row[3:9]


def test_where_there_is_no_curve_the_reason_stands_in_its_place(browser, release_folder):
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("percentiles-visceral-fat-level.html")
        assert page.locator("#curves svg").count() == 1
        assert WHY_NO_CURVE in page.locator("#curves .no-chart").text_content()
        page.get_by_role("radio", name="Male", exact=True).check()
        page.wait_for_function("document.querySelectorAll('#curves svg').length === 0")
        assert WHY_NO_CURVE in page.locator("#curves [data-headline]").text_content()
        assert watched.complaints == []


def test_a_funnel_has_a_bead_a_site_and_its_hover_text_names_it(browser, release_folder):
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("sites.html")
        rows = [row for row in table_of(page, "funnel") if len(row) > 2 and row[1] != "withheld"]
        beads = page.locator("#funnel svg .mark-symbol path")
        assert beads.count() == len(rows) > 3
        beads.first.hover(force=True)
        page.wait_for_selector("#vg-tooltip-element.visible")
        hover = page.locator("#vg-tooltip-element").text_content()
        assert any(row[0] in hover for row in rows)
        assert "Standardised share" in hover
        assert watched.complaints == []


def test_a_site_s_name_in_the_funnel_s_table_leads_to_its_page(browser, release_folder):
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("sites.html")
        link = page.locator("#funnel tbody a").last
        name = link.text_content()
        link.click()
        page.wait_for_url("**/site-site-*.html")
        assert name in page.locator("h1").text_content()


def test_the_funnel_s_table_stands_by_name_or_by_people_and_the_chart_does_not_mind(browser, release_folder):
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("sites-mean-weight.html")
        by_name = [row[0] for row in table_of(page, "funnel")]
        assert by_name == sorted(by_name, key=str.casefold)
        page.get_by_role("radio", name="By people measured").check()
        people = [
            int(row[1].replace("\u202f", "")) for row in table_of(page, "funnel") if row[1] != "withheld"
        ]
        assert people == sorted(people, reverse=True)
        assert watched.complaints == []


def test_a_period_without_a_comparison_says_so_and_complains_of_nothing(browser, tmp_path):
    folder = make_release(tmp_path, sites=3, quarters=6)
    build_pages(folder)
    with Watched(browser, own_files(folder)) as watched:
        page = watched.open("sites.html#period=2024Q1")
        assert "latest periods only" in page.locator("#funnel [data-headline]").text_content()
        assert {row[1] for row in table_of(page, "funnel")} == {"not compared"}
        page.get_by_label("Period", exact=True).select_option("2025Q2")
        page.wait_for_function("document.querySelectorAll('#funnel svg .mark-symbol path').length > 0")
        assert watched.complaints == []


def test_a_site_s_analysers_are_drawn_with_a_ring_for_each_signal(browser, release_folder):
    signals = pl.read_parquet(release_folder / "data" / "device.parquet").filter(pl.col("signal") != "")
    of_site = signals.filter(pl.col("site") == "site-002")
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("data-quality.html")
        page.get_by_label("Site", exact=True).select_option("site-002")
        page.wait_for_function("document.querySelectorAll('#steady-weight .panel').length === 2")
        rows = table_of(page, "steady-weight")
        assert len([row for row in rows if row[4] == "drift"]) == of_site.height > 0
        rings = page.locator("#steady-weight svg path[stroke-width='1.5'][fill='transparent']")
        assert rings.count() == of_site.height
        assert "worth checking" in page.locator("#steady-weight [data-headline]").text_content()
        assert {row[1] for row in table_of(page, "entry")} == {rows[0][0].partition(", analyser")[0]}
        assert watched.complaints == []


def test_where_no_analyser_signalled_there_is_a_word_and_no_empty_frame(browser, tmp_path):
    folder = make_release(tmp_path, sites=8, quarters=2)
    path = folder / "data" / "device.parquet"
    pl.read_parquet(path).with_columns(signal=pl.lit("")).write_parquet(path)
    build_pages(folder)
    with Watched(browser, own_files(folder)) as watched:
        page = watched.open("data-quality.html")
        assert page.locator("#steady-weight .body").is_hidden()
        assert "None of 16 analysers gave a signal." in page.locator("#steady-weight").text_content()
        page.get_by_label("Site", exact=True).select_option("site-001")
        page.wait_for_function("document.querySelectorAll('#steady-weight svg').length === 2")
        assert watched.complaints == []


def test_an_unreliable_share_is_an_open_bead(browser, tmp_path):
    folder = make_release(tmp_path, sites=2, quarters=2, base=14)
    build_pages(folder)
    shares = pl.read_parquet(folder / "data" / "prevalence.parquet").filter(
        (pl.col("banding") == "bmi_adult") & pl.col("site").is_null() & (pl.col("flag") == "unreliable")
    )
    sex, low, high, period = shares.select("sex", "age_from", "age_to", "period").row(0)
    with Watched(browser, own_files(folder)) as watched:
        page = watched.open(f"prevalence.html#sex={sex}&age={low}-{high}&period={period}")
        states = page.locator("#now tbody tr").evaluate_all("rows => rows.map(row => row.dataset.state)")
        beads = page.locator("#now svg .mark-symbol path")
        fills = beads.evaluate_all("paths => paths.map(path => path.getAttribute('fill'))")
        assert "u" in states
        assert fills.count("var(--sheet)") == states.count("u")
        assert fills.count("var(--mark)") == states.count(".")
        assert page.locator("#now [data-unreliable]").is_visible()
