"""What is withheld besides is tried without: what the proof does not need is published.

Mechanics: all people are invented.
"""

from __future__ import annotations

import numpy as np
from invented_tables import prevalence_of
from protection import unprotected

from pipeline.disclosure import protect, suppression
from pipeline.programme import Disclosure

RULES = Disclosure()


def figures_shown(monkeypatch, short: int, people: np.ndarray) -> tuple[int, list]:
    monkeypatch.setattr(suppression, "SMALL", 0)  # the heuristic alone
    monkeypatch.setattr(suppression, "SHORT", short)
    truth = {"prevalence": prevalence_of(people, "visceral_fat")}
    shown = protect(truth, RULES)
    return shown["prevalence"]["n"].count(), unprotected(truth, shown, RULES.minimum_count)


def test_trying_without_gives_figures_back_and_leaves_every_count_protected(monkeypatch):
    given_back = 0
    for seed in range(6):
        people = np.random.default_rng(seed).choice([0, 2, 5, 9, 14, 30, 60], (3, 2, 1, 2))
        plain, open_before = figures_shown(monkeypatch, 0, people)
        tried, open_after = figures_shown(monkeypatch, suppression.SHORT or 40_000, people)
        assert open_before == open_after == []
        assert tried >= plain
        given_back += tried - plain
    assert given_back > 0
