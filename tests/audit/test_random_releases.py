"""Random releases: after suppression the audit finds no breach, and it always finds the one that is planted.

The thousand in full are tests/benchmarks/audit_random_releases.py; here a seeded few dozen. Mechanics: all people are
invented.
"""

from __future__ import annotations

import polars as pl
import pytest
from random_releases import RULES, release

from pipeline.audit import audit_tables

SEEDS = range(
    24
)  # that the releases are sound is the suppressor's doing, that the breach is found the audit's


@pytest.mark.parametrize("seed", SEEDS)
def test_a_planted_breach_is_found_and_the_suppressed_release_without_it_is_sound(seed):
    made = release(seed)
    audit = audit_tables(made.truth, made.published, RULES)
    assert audit.breaches.is_empty(), audit.breaches
    if made.planted is None:
        return
    found = audit_tables(made.truth, made.planted, RULES).breaches.filter(pl.col("verdict") != "rest")
    target = made.target
    hit = found.filter(
        band=target["band"], site=target["site"] or "", sex=target["sex"], age_from=target["age_from"],
        age_to=target["age_to"],
    )  # fmt: skip
    assert hit["verdict"].to_list() == ["narrow"]
    assert hit["high"].item() - hit["low"].item() == pytest.approx(0, abs=1e-6)


def test_the_exact_solver_says_nothing_on_the_terminal(capfd):
    """Seed 8 made HiGHS repair a solution, and print a line of its own about it, until its presolve was left out."""
    release(8)
    assert capfd.readouterr() == ("", "")
