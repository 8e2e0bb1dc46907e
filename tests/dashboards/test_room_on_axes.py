"""What axes make room for: a period without readings takes its place, and no share has room over 100 %. Mechanics."""

from __future__ import annotations

import dataclasses
import json
import shutil

import altair as alt
import polars as pl
import pytest
from invented_release import make_release
from playwright.sync_api import sync_playwright

from dashboards import build_pages, share_charts
from dashboards.axes import calendar_of
from dashboards.cubes import Dimension
from dashboards.numbers import period_title
from dashboards.prevalence import prevalence_pages
from dashboards.release import read_release
from dashboards.report.still import still_charts
from dashboards.settled import settled

LABELS = (
    "figure => [...document.querySelectorAll(`#${figure} svg g.mark-text.role-axis-label text`)]"
    ".map(text => text.textContent)"
)


def calendar(*keys):
    return calendar_of(Dimension("period", keys, tuple(map(period_title, keys))))


def test_every_quarter_and_month_between_the_first_and_the_last_has_its_place():
    assert calendar("2024Q3", "2025Q1") == ("Q3 2024", "Q4 2024", "Q1 2025")
    assert calendar("2024-11", "2025-02") == ("2024-11", "2024-12", "2025-01", "2025-02")


def test_periods_that_follow_each_other_need_no_calendar():
    assert calendar("2024Q4", "2025Q1") == calendar("2024-12", "2025-01") == calendar("2025Q1") == calendar() == ()


def test_a_lone_early_day_does_not_leave_the_rest_without_room():
    assert calendar("2023Q2", "2025Q1") != ()  # 8 quarters, 2 of them with readings
    assert calendar("2023Q1", "2025Q1") == ()  # 9


def test_the_grammar_takes_a_chart_with_a_calendar():
    spec = share_charts.over_periods((), (("period", "Period"),), ("Q3 2024", "Q4 2024", "Q1 2025"))
    alt.LayerChart.from_dict(spec, validate=True)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Four quarters, the third without readings; so few people that intervals reach from nothing to nearly all."""
    folder = make_release(tmp_path_factory.mktemp("gap"), sites=2, quarters=4, base=40, comparisons=False)
    facts = json.loads((folder / "release.json").read_text("utf-8"))
    facts["periods"].remove("2024Q3")
    (folder / "release.json").write_text(json.dumps(facts), "utf-8")
    for path in (folder / "data").glob("*.parquet"):
        table = pl.read_parquet(path)
        if "period" in table.columns:
            table = table.filter(pl.col("period") != "2024Q3")
        if path.stem == "prevalence":
            table = table.with_columns(low=pl.col("low") * 0, high=pl.col("high") * 0 + 0.99)
        table.write_parquet(path)
    build_pages(folder)
    return folder


@pytest.mark.browser
def test_in_the_browser(folder):
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        for name, figure in (("index", "reach"), ("percentiles", "trend"), ("prevalence", "trend")):
            page.goto((folder / f"{name}.html").as_uri())
            page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
            page.wait_for_function("[...document.querySelectorAll('[data-chart]')].every(chart => chart.dataset.drawn)")
            words = " ".join(page.evaluate(LABELS, figure))
            assert [words.find(f"Q{n}") for n in (1, 2, 3, 4)] == sorted(words.find(f"Q{n}") for n in (1, 2, 3, 4))
            assert words.count("Q3") >= 1, name
        for figure in ("trend", "age"):
            labels = page.evaluate(LABELS, figure)
            assert "100 %" in labels and "120 %" not in labels
        browser.close()


def test_on_paper(folder):
    shares = next(prevalence_pages(read_release(folder)))
    figure = settled(shares, "age", sex="all", period="2024Q4", band="normal")
    for one in (figure, dataclasses.replace(figure, panels="sex")):
        svg = " ".join(svg for _, svg in still_charts(one, shares.cubes[figure.cube], 400))
        assert ">100 %<" in svg and ">120 %<" not in svg
