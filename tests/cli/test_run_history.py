"""The page on the programme's runs: what it says, and how it opens in a browser. Mechanics."""

from __future__ import annotations

import html
import re
import shutil
from datetime import date
from pathlib import Path

import axe_playwright_python
import pytest
from playwright.sync_api import sync_playwright

from pipeline import flow
from pipeline.cli import main
from pipeline.faults import Fault
from pipeline.feedback.run_history import write_history
from pipeline.store import Store

# the least room between the text of a number and that of the words in the next cell
APART = """() => {
    const edges = cell => {
        const text = document.createRange();
        text.selectNodeContents(cell);
        return text.getBoundingClientRect();
    };
    const pairs = [...document.querySelectorAll(".figure-head + th:not(.figure-head), td:not(.words) + td.words")];
    return Math.min(...pairs.map(cell => edges(cell).left - edges(cell.previousElementSibling).right));
}"""


def words_of(path):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", path.read_text(encoding="utf-8"))).split())


@pytest.fixture
def failed(tmp_path):
    """A programme with markup in its name and in that of a file, whose only run failed and whose site is late."""
    folder = tmp_path / "p"
    main(["init", str(folder), "--name", "<script>alert(1)</script>"])
    settings = folder / "programme.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + 'expected = "weekly"\n', encoding="utf-8")
    (folder / "inbox" / "first-site" / "<b>.csv").write_text("no,such,header\n1,2,3\n", encoding="utf-8")
    assert main(["run", str(folder), "--as-of", "2026-01-15"]) == 1
    return folder


@pytest.fixture(scope="module")
def finished(small_run, tmp_path_factory):
    folder = tmp_path_factory.mktemp("history") / "programme"
    shutil.copytree(small_run.folder, folder)
    return folder


def test_a_failed_run_says_so_with_its_fault_and_whom_it_waits_for(failed):
    words = words_of(write_history(failed, as_of=date(2026, 1, 15)))
    assert "The last run did not finish" in words and "Run 1: no readings yet." in words
    assert "First site weekly none nothing yet" in words
    assert "first-site <b>.csv held header missing" in words
    with Store.open(failed / "store" / "evenbeam.duckdb", read_only=True) as store:
        assert store.rows("select outcome, fault from ledger.run") == [("failed", "no readings yet")]
        assert store.rows("select step from ledger.run_step order by rowid") == [("remove",), ("receive",), ("build",)]


def test_nothing_received_is_markup_and_nothing_can_run(failed):
    text = write_history(failed, as_of=date(2026, 1, 15)).read_text(encoding="utf-8")
    assert "<script" not in text and "<b>.csv" not in text and "style=" not in text
    assert "default-src 'none'" in text


def test_a_finished_run_has_its_rows_and_the_seconds_of_every_step(finished, capsys):
    assert main(["status", str(finished), "--page", "--as-of", "2026-01-15"]) == 0
    page = finished / "reports" / "runs.html"
    assert capsys.readouterr().out == f"open {page}\n"
    words = words_of(page)
    with Store.open(finished / "store" / "evenbeam.duckdb", read_only=True) as store:
        steps = [name for (name,) in store.rows("select step from ledger.run_step where run_id = 1 order by rowid")]
        read, held = store.rows("select sum(rows_read), sum(rows_held) from ledger.file where run_id = 1")[0]
    assert steps == [step.name for step in flow.STEPS]
    assert f" {read} " in words and f" {held} " in words and "finished, files held" in words
    assert " ".join(["Run", *steps]) in words


def test_before_the_first_run_there_is_nothing_to_tell(tmp_path):
    main(["init", str(tmp_path / "p")])
    with pytest.raises(Fault, match="no run yet"):
        write_history(tmp_path / "p", as_of=date(2026, 1, 15))


@pytest.mark.browser
def test_the_page_opens_without_complaint_wide_and_narrow_light_and_dark(failed, finished):
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    assert path, "no chromium on the PATH; on Debian: apt-get install chromium"
    axe = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    pages = [write_history(folder, as_of=date(2026, 1, 15)) for folder in (failed, finished)]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--headless", "--no-sandbox", "--disable-gpu"])
        for width, scheme in ((1280, "light"), (1280, "dark"), (390, "light"), (320, "dark")):
            context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
            complaints = []
            page = context.new_page()
            page.on("console", lambda message, all=complaints: all.append(message.text))
            page.on("request", lambda one, all=complaints: all.append(one.url) if "http" in one.url[:5] else None)
            for file in pages:
                page.goto(file.as_uri())
                page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
                assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (file, width)
                assert page.evaluate(APART) >= 8, "a number and the words behind it run together"
                assert page.locator(f".picture.{'narrow' if width < 640 else 'wide'} svg").first.is_visible()
                page.evaluate(axe)
                found = page.evaluate("axe.run({preload: false})")  # it would fetch the styles itself
                assert len(found["passes"]) > 12, "axe did look"
                assert [(one["id"], one["nodes"][0]["html"][:200]) for one in found["violations"]] == []
            assert complaints == []
            context.close()
        browser.close()
