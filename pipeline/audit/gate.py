"""The gate before a release gets its name: whoever freezes it calls this on the finished folder, pages and all.

It refuses a release in which one count is unprotected, one page shows what no table does, or two files of a table
differ. It names the groups and never a number. What it proved is written beside the tables, without a count in it.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.audit.audit import Audit, audit_tables
from pipeline.audit.pages import PageBreach, page_breaches
from pipeline.audit.released import Released, read_release
from pipeline.faults import Fault
from pipeline.programme import Disclosure

SUMMARY = "disclosure_audit.json"
MOST_BREACHES = 12  # enough to see what is wrong; proving each costs two programmes over the whole period
MOST_NAMED = 4  # a fault is cut at 400 letters


def require_sound(
    folder: Path, truth: dict[str, pl.DataFrame], rules: Disclosure, *, has_own_totals: bool = True
) -> Audit:
    """Prove the release in `folder` and write the summary of the proof into it.

    Shapes   truth: the unsuppressed tables that it was made from, table → rows. has_own_totals: whether the totals of
             release.json tell more than the tables; those of a frozen period are read off its tables.
    Errors   Fault (exit code 1) naming what a reader could work out, and where; nothing is written then.
    """
    released = read_release(folder)
    if released.differences:
        raise _fault_of_files(folder, released)
    shown_on_pages = page_breaches(folder, truth, released.tables)
    if shown_on_pages:
        raise _fault_of_pages(folder, shown_on_pages)
    totals = released.totals if has_own_totals else None
    audit = audit_tables(truth, released.tables, rules, totals=totals, most_breaches=MOST_BREACHES)
    if not audit.is_sound:
        raise _fault_of_counts(folder, audit)
    text = json.dumps(summary(audit, rules), indent=1, sort_keys=True, ensure_ascii=False)
    (folder / SUMMARY).write_text(text + "\n", encoding="utf-8")
    return audit


def require_sound_tables(
    where: str, truth: dict[str, pl.DataFrame], published: dict[str, pl.DataFrame], rules: Disclosure
) -> Audit:
    """Prove tables that are not written yet: those of a restatement, before earlier figures are put back in them.

    Shapes   truth, published: table → rows, as audit_tables.
    Errors   Fault naming what a reader could work out.
    """
    audit = audit_tables(truth, published, rules, most_breaches=MOST_BREACHES)
    if not audit.is_sound:
        raise _fault_of_counts(Path(where), audit)
    return audit


def summary(audit: Audit, rules: Disclosure) -> dict[str, Any]:
    """What a proof found, for publication: how many counts of each kind, and no count itself."""
    verdicts = dict(audit.cells.group_by("verdict").len().iter_rows())
    ratio = ((audit.cells["high"] - audit.cells["low"]) / audit.cells["width"]).min()
    return {
        "description": "Proof that nothing in this release, all files and sums together, places a count of few people, "
        "or of all but few, too closely. A sensitive count is protected when the values that fit everything published "
        "lie as far apart as its group is large, or half of minimum_count where that is less; a number of rows when "
        "it is not exact. docs/disclosure.md says what a reader is taken to know.",
        "minimum_count": rules.minimum_count,
        "counts": audit.counts,
        "counts_withheld": audit.withheld,
        "sensitive": audit.cells.height,
        "proved_by_example": verdicts.get("example", 0),
        "proved_by_programme": verdicts.get("programme", 0),
        "unprotected": audit.breaches.height,
        "narrowest_over_required": None if ratio is None else float(np.floor(10 * (ratio + 1e-6)) / 10),
        "method": "other tables that fit everything published, and for each count that these leave open the least and "
        "the greatest value by linear programmes (HiGHS)",
    }


def _fault_of_counts(folder: Path, audit: Audit) -> Fault:
    found = audit.breaches.filter(pl.col("verdict") != "unproven")
    ways = {"shown": "stands in the files", "figure": "follows from a figure beside it",
            "narrow": "follows from sums of what is published",
            "rest": "its withheld parts together are few"}  # fmt: skip
    named = [
        f"{_named(row)} ({ways[row['verdict']]})" for row in found.head(MOST_NAMED).iter_rows(named=True)
    ]
    more = found.height - len(named)
    ended = "; the search ended there" if found.height < audit.breaches.height else ""
    return Fault(
        "release refused: counts of few people could be worked out",
        where=str(folder),
        found="; ".join([*named, *([f"and {more} more{ended}"] if more or ended else [])]),
        expected="no count of few people, nor of all but few, that the rest of the release gives away",
        next="nothing was published and the last release stands. Fewer sites, age groups or bandings, or a higher "
        "minimum_count, leave less to work out; please report what you see, it is a fault of the suppression",
    )


def _named(row: dict[str, Any]) -> str:
    group = [row["site"] or "all sites", row["period"], row["sex"]]
    if row["kind"] != "rows":
        group.append(f"{row['age_from']}–{row['age_to']}")
    return ", ".join(part for part in (row["family"], row["band"], *group) if part)


def _fault_of_pages(folder: Path, found: list[PageBreach]) -> Fault:
    first = found[:MOST_NAMED]
    named = [
        f"{one.file}, {one.what}: {one.figure} of {', '.join(key or 'all' for key in one.key.values())}"
        for one in first
    ]
    return Fault(
        "release refused: a page shows what no table does",
        where=str(folder),
        found="; ".join(
            [*named, *([f"and {len(found) - len(first)} more"] if len(found) > len(first) else [])]
        ),
        expected="pages made of the published tables alone",
        next="nothing was published and the last release stands; please report this, it is a fault of the pages",
    )


def _fault_of_files(folder: Path, released: Released) -> Fault:
    named = [
        f"{file} differs from table {table} in {number} figures"
        for file, table, number in released.differences
    ]
    return Fault(
        "release refused: files of one table differ",
        where=str(folder),
        found="; ".join(named[:MOST_NAMED]),
        expected="the same figures in every file, and the same ones withheld",
        next="nothing was published and the last release stands; please report this, it is a fault of the writing",
    )
