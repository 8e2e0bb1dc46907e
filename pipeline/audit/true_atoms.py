"""The true table: how many people each atom holds, from the unsuppressed results."""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import vstack

from pipeline.audit.atoms import SEXES, Atoms
from pipeline.audit.knowledge import _same_people
from pipeline.audit.scales import Scale


def true_atoms(atoms: Atoms, true: pl.DataFrame) -> np.ndarray:
    """The number of people in each atom, (atoms,).

    Read from the finest counts of the results. Where these are not as fine as the atoms, any table that fits all of
    them is as good: one is found by a linear programme.

    Errors   ValueError when the results do not add up.
    """
    found = np.concatenate(
        [_of_scale(atoms, number, scale, true).ravel() for number, scale in enumerate(atoms.scales)]
    )
    sums = atoms.sums(true)
    same = _same_people(atoms)
    count = true["n"].to_numpy().astype(float)
    if (found >= 0).all() and np.array_equal(sums @ found, count):
        return found
    fitted = milp(
        np.zeros(atoms.count),
        constraints=LinearConstraint(
            vstack([sums, *(part.sums for part in same)]),
            np.concatenate([count, *(part.low for part in same)]),
            np.concatenate([count, *(part.high for part in same)]),
        ),
        bounds=Bounds(0, np.inf),
    )
    if fitted.x is None:
        raise ValueError(f"the results do not add up: no table has all their counts ({fitted.message})")
    return fitted.x


def _of_scale(atoms: Atoms, number: int, scale: Scale, true: pl.DataFrame) -> np.ndarray:
    """(groups, pieces): each band of one piece as counted, then bands of which one piece is left."""
    found = np.full((atoms.groups, scale.pieces), np.nan)
    if scale.bands is None:
        family = next(family for family, of in atoms.scale_of.items() if of == number)
        found[:, 0] = _by_group(atoms, true.filter(kind="people", family=family))
        return found
    bands = {pieces: _by_group(atoms, true.filter(kind="band", family=family, band=band))
             for (family, band), pieces in scale.bands.items()}  # fmt: skip
    for _ in range(scale.pieces):
        for pieces, count in bands.items():
            left = [k for k in pieces if np.isnan(found[0, k])]
            if len(left) == 1:
                found[:, left[0]] = count - sum(found[:, k] for k in pieces if k != left[0])
    return np.nan_to_num(found)


def _by_group(atoms: Atoms, counts: pl.DataFrame) -> np.ndarray:
    """(groups,) of counts of the finest groups, 0 where there is none."""
    number = [
        {key: i for i, key in enumerate(keys)} for keys in (atoms.sites, atoms.periods, SEXES, atoms.ages)
    ]
    found = np.zeros((len(atoms.sites), len(atoms.periods), len(SEXES), len(atoms.ages)))
    for site, period, sex, low, high, n in counts.select(
        "site", "period", "sex", "age_from", "age_to", "n"
    ).iter_rows():
        if site in number[0] and sex in number[2] and (low, high) in number[3]:
            found[number[0][site], number[1][period], number[2][sex], number[3][low, high]] = n
    return found.ravel()
