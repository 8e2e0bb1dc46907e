"""docs/recovery.md is what the results of the simulations make it, and speaks of every published interval."""

from __future__ import annotations

import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture
def recovery_page(monkeypatch):
    monkeypatch.syspath_prepend(ROOT / "tests" / "benchmarks")
    return importlib.import_module("recovery_page")


def test_the_page_is_made_from_the_results(recovery_page):
    made = recovery_page.page()
    assert recovery_page.PAGE.read_text(encoding="utf-8") == made, (
        "run python tests/benchmarks/recovery_page.py"
    )


def test_every_interval_has_a_thousand_replicates_or_tells_why_some_have_no_interval(recovery_page):
    pages = [recovery_page.RESULTS / f"{name}.md" for name in recovery_page.COVERAGE]
    rows = [row for page in pages for row in recovery_page.rows_in(page.read_text(encoding="utf-8"))]
    assert len(rows) > 100
    assert min(int(row["replicates"]) for row in rows) > 950  # some fits do not settle and publish no band


# A table that begins to publish limits must be simulated, or say here who simulates it.
SIMULATED = {
    "prevalence", "percentile", "standardised_prevalence", "trend", "who_position", "percentile_curve",
    "curve_diagnostic", "site_comparison", "site_heterogeneity",
}  # fmt: skip
ELSEWHERE = {
    "device": "tests/benchmarks/device_operating_curve.py",
    "outcome": "tests/benchmarks/outcome_recovery.py",
    "group_time_effect": "tests/benchmarks/outcome_recovery.py",
}
NOT_YET = {"retention", "transition", "outcome_site"}  # of change over time: intervals that other tables have too


def test_every_table_with_limits_is_simulated():
    from pipeline.release.schema import TABLES

    with_limits = {table.name for table in TABLES if {"low", "high"} <= set(table.column_names)}
    assert with_limits >= SIMULATED
    assert with_limits - SIMULATED - set(ELSEWHERE) <= NOT_YET
