"""Decisions from memory are those that would be made, and a memory that is gone or spoilt costs only time.

Mechanics: all people are invented.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from invented_tables import percentile_of, prevalence_of

from pipeline.disclosure import protect, suppression
from pipeline.programme import Disclosure
from pipeline.release.decisions_kept import MOST, DecisionsKept

RULES = Disclosure()


def tables(*quarters: int, more: int = 0) -> dict[str, pl.DataFrame]:
    """People at four sites in each quarter, bmi among them, so that percentiles are heeded too; and so many more."""
    parts = []
    for quarter in quarters:
        people = np.random.default_rng(quarter).choice([0, 1, 3, 8, 12, 25, 40, 90], (4, 2, 2, 6))
        people[0, 0, 0, 0] += more
        period = f"2025Q{quarter}"
        parts.append((prevalence_of(people, "bmi_adult", period), percentile_of(people, "bmi", period)))
    prevalence, percentile = (pl.concat(part) for part in zip(*parts, strict=True))
    shift = {name: pl.col(name) - 50 for name in ("value", "low", "high")}
    return {"prevalence": prevalence, "percentile": percentile.with_columns(**shift)}


@pytest.fixture
def counted(monkeypatch):
    done = []
    for name in ("_decided", "room_beside"):
        work = getattr(suppression, name)
        monkeypatch.setattr(
            suppression, name, lambda piece, *rest, work=work, name=name: done.append(name) or work(piece, *rest)
        )
    return done


def same(one: dict[str, pl.DataFrame], other: dict[str, pl.DataFrame]) -> bool:
    return all(one[name].equals(other[name]) for name in one)


def test_with_and_without_memory_the_same_is_published(tmp_path, counted):
    without = protect(tables(1, 2), RULES)
    memory = DecisionsKept(tmp_path)
    assert same(without, protect(tables(1, 2), RULES, memory=memory))
    counted.clear()
    assert same(without, protect(tables(1, 2), RULES, memory=memory))
    assert counted == []


def test_a_further_quarter_costs_its_own_proof_and_no_other(tmp_path, counted):
    memory = DecisionsKept(tmp_path)
    protect(tables(1, 2), RULES, memory=memory)
    counted.clear()
    found = protect(tables(1, 2, 3), RULES, memory=memory)
    assert sorted(counted) == ["_decided", "room_beside"]
    assert same(found, protect(tables(1, 2, 3), RULES))


def test_one_person_more_and_another_minimum_are_decided_anew(tmp_path, counted):
    memory = DecisionsKept(tmp_path)
    rows = tables(1)
    protect(rows, RULES, memory=memory)
    counted.clear()
    protect(rows, Disclosure(minimum_count=11), memory=memory)
    assert counted
    counted.clear()
    protect(tables(1, more=1), RULES, memory=memory)
    assert counted


@pytest.mark.parametrize("spoilt", [b"", b"rubbish", None])
def test_a_spoilt_memory_is_as_good_as_none(tmp_path, counted, spoilt):
    memory = DecisionsKept(tmp_path)
    good = protect(tables(1), RULES, memory=memory)
    for one in memory.folder.iterdir():
        one.write_bytes(one.read_bytes()[:-1] if spoilt is None else spoilt)
    counted.clear()
    assert same(good, protect(tables(1), RULES, memory=memory))
    assert counted


def test_a_folder_that_cannot_be_written_is_no_fault(tmp_path):
    (tmp_path / "decisions").write_text("in the way")
    assert same(protect(tables(1), RULES), protect(tables(1), RULES, memory=DecisionsKept(tmp_path)))


def test_the_oldest_decisions_go(tmp_path):
    memory = DecisionsKept(tmp_path)
    for number in range(MOST + 3):
        memory.keep(f"{number:064}", b"")
    assert len(list(memory.folder.iterdir())) == MOST
