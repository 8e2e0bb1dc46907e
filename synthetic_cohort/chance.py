"""Where the random numbers come from: one independent stream a site and purpose, all from one seed.

A stream depends on (seed, site, purpose) only, so a change to one distribution does not move another, and a
site is the same whether it is generated first or last. Same seed, same NumPy: same numbers.
"""

from __future__ import annotations

import numpy as np

PURPOSES = ("people", "visits", "analysers", "readings", "row faults", "file faults", "effect")


def stream(seed: int, purpose: str, site: int = -1) -> np.random.Generator:
    """The generator for one purpose at one site (-1: the programme as a whole)."""
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(site + 1, PURPOSES.index(purpose))))
