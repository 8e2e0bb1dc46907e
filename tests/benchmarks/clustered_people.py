"""Invented programmes whose truth is known: sites of unequal size, people of one site more alike than others."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


def site_sizes(
    random: np.random.Generator, shape: tuple[int, ...], people: float, spread: float, largest: float = 0.0
) -> Integers:
    """People of each site: log-normal with median `people`; the first site may hold a share `largest` of all.

    Shapes   out: `shape`, the last axis being the sites.
    """
    size = np.exp(random.normal(np.log(people), spread, shape)) if spread else np.full(shape, float(people))
    if largest:
        size[..., 0] = size[..., 1:].sum(axis=-1) * largest / (1 - largest)
    return np.maximum(np.rint(size), 5).astype(np.int64)


def site_shares(
    random: np.random.Generator, share: float | Floats, icc: float, shape: tuple[int, ...]
) -> Floats:
    """Each site's own share, beta about the share of all: two people of a site correlate by icc.

    Shapes   share broadcasts to `shape`; out: `shape`.
    """
    share = np.broadcast_to(share, shape)
    if icc == 0:
        return share.copy()
    return random.beta(share * (1 - icc) / icc, (1 - share) * (1 - icc) / icc)


def site_normals(random: np.random.Generator, icc: float, sizes: Integers) -> list[Floats]:
    """Standard normal scores of the people of each site, two of a site correlating by icc. Shapes: (sites,) → lists."""
    return [
        np.sqrt(icc) * random.standard_normal() + np.sqrt(1 - icc) * random.standard_normal(int(n))
        for n in sizes
    ]


def mean_share(log_odds: Floats, between: float) -> Floats:
    """Shares of people at all possible sites, whose log-odds differ normally. Shapes: (strata,) → (strata,)."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(40)
    return expit(np.asarray(log_odds)[:, None] + between * nodes) @ weights / weights.sum()
