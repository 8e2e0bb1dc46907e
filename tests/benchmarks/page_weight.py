"""How heavy the pages are and how soon the first chart stands, for 200 sites.

    python tests/benchmarks/page_weight.py

Builds the pages of an invented release, opens each kind in headless Chromium from disk, and writes
tests/benchmarks/results/page_weight.md. Limit of the project: 1.5 MB a page besides the script that all pages share.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from dashboards.bundle import NAME
from dashboards.pages import build_pages

sys.path.insert(0, str(Path(__file__).parents[1] / "dashboards"))
from invented_release import make_release

RESULT = Path(__file__).parent / "results" / "page_weight.md"
LIMIT = 1.5e6
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
DRAWN = "document.querySelector('[data-chart][data-drawn]') !== null"
RUNS = 5


def kind_of(path: Path) -> str:
    """The pages of one question weigh alike: prevalence-bmi-child.html → prevalence; site-north-quay.html → site."""
    return path.stem.partition("-")[0] if not path.stem.startswith("data-quality") else path.stem


def first_chart(browser, path: Path) -> float:
    """Milliseconds from asking for the page to the first chart that stands."""
    page = browser.new_page()
    begun = time.perf_counter()
    page.goto(path.as_uri())
    page.wait_for_function(DRAWN)
    spent = 1000 * (time.perf_counter() - begun)
    page.close()
    return spent


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--sites", type=int, default=200)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        release = make_release(Path(folder), sites=options.sites)
        begun = time.process_time()
        written = build_pages(release)
        built = time.process_time() - begun
        pages = [path for path in written if path.suffix == ".html"]
        heaviest: dict[str, Path] = {}
        for path in sorted(pages, key=lambda path: path.stat().st_size):
            heaviest[kind_of(path)] = path
        lines = []
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
            for kind, path in sorted(heaviest.items()):
                size = path.stat().st_size
                has_chart = "data-chart" in path.read_text(encoding="utf-8")
                times = [first_chart(browser, path) for _ in range(RUNS)] if has_chart else []
                soon = f"{statistics.median(times):.0f}" if times else "no chart"
                within = "yes" if size < LIMIT else "NO"
                lines.append(f"| {kind} | `{path.name}` | {size / 1e6:.2f} | {within} | {soon} |")
            browser.close()
        bundle = (release / "assets" / NAME).stat().st_size
        whole = sum(path.stat().st_size for path in written)
    text = f"""# How heavy the pages are

Made by `python tests/benchmarks/page_weight.py --sites {options.sites}`: an invented release, the heaviest page
of each kind, opened {RUNS} times from disk in headless Chromium; times are medians, of the machine they were taken on.

| kind | heaviest page | MB | under {LIMIT / 1e6:g} MB | ms to the first chart |
| --- | --- | ---: | --- | ---: |
{chr(10).join(lines)}

All pages share one script of {bundle / 1e6:.2f} MB. {len(pages)} pages, report and workbook: {whole / 1e6:.0f} MB,
built in {built:.0f} s of processor time.
"""
    RESULT.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
