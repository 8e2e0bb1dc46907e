"""What is left of a published total when its published parts are taken away: the withheld parts together.

That is a count of people too, and everybody can make it: nobody, or at least the minimum, may be left. It is looked at
in every single sum: over the sites of all sites, both sexes, the bands of a group, and the age groups of a total, also
those that another measure or banding shows of the same people. Counts that follow from one such sum after the other
are taken away as well.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
import polars as pl

from pipeline.audit.atoms import SEXES, Atoms
from pipeline.audit.shown_counts import KEY
from pipeline.measures import BANDINGS

_SEXES = ("all", *SEXES)
FIRST = 0  # on each axis but ages the total: all sites, both sexes, the people of a group


@dataclass(frozen=True)
class _Family:
    """Counts of one measure or banding by (people and each band, site, period, sex, range of ages).

    n is 0 where there is nobody; is_there: the release counts it; known: a reader has it, or there is nobody.
    own: (ranges,), those that it counts itself; others it has only where another family is the same people.
    """

    name: str
    bands: list[str]
    n: np.ndarray
    is_there: np.ndarray
    known: np.ndarray
    own: np.ndarray


def few_left(atoms: Atoms, true: pl.DataFrame, known: pl.DataFrame, minimum: int) -> pl.DataFrame:
    """The totals of which 1 to `minimum` - 1 people are left: KEY of the total, n (how many are left).

    Shapes   true: KEY, n, of the results; known: KEY, of what a reader has.
    """
    ranges = sorted(set(true.select("age_from", "age_to").rows()))
    axes = [
        {name: i for i, name in enumerate(names)}
        for names in (["", *atoms.sites], atoms.periods, _SEXES, ranges)
    ]
    marked = true.join(known.select(KEY).with_columns(is_known=pl.lit(True)), on=KEY, how="left")
    families = [_family(name, rows, axes) for (name,), rows in marked.group_by("family", maintain_order=True)]
    pieces = np.array([[low <= a and b <= high for a, b in atoms.ages] for low, high in ranges])
    same = _same_people(atoms, families)
    while True:
        before = sum(int(one.known.sum()) for one in families)
        _share(families, same)
        for one in families:
            _follow(one, pieces)
        if sum(int(one.known.sum()) for one in families) == before:
            break
    found = [row for one in families for row in _few_of(one, axes, pieces, minimum)]
    schema = {**{name: pl.Int64 if name.startswith("age") else pl.String for name in KEY}, "n": pl.Int64}
    return pl.DataFrame(found, schema=schema, orient="row").unique(KEY, keep="first").sort(KEY)


def _family(name: str, rows: pl.DataFrame, axes: list[dict]) -> _Family:
    bands = ["", *(band.name for band in BANDINGS[name].bands)] if name in BANDINGS else [""]
    shape = (len(bands), *(len(axis) for axis in axes))
    n, is_there, known = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=bool), np.ones(shape, dtype=bool)
    columns = [rows["band"].replace_strict({band: i for i, band in enumerate(bands)}, return_dtype=pl.Int64)]
    for axis, column in zip(axes[:3], ("site", "period", "sex"), strict=True):
        columns.append(rows[column].replace_strict(axis, return_dtype=pl.Int64))
    columns.append(pl.Series([axes[3][one] for one in rows.select("age_from", "age_to").iter_rows()]))
    at = tuple(column.to_numpy() for column in columns)
    n[at], is_there[at] = rows["n"].to_numpy(), True
    known[at] = rows["is_known"].fill_null(False).to_numpy()
    return _Family(name, bands, n, is_there, known, is_there.any(axis=(0, 1, 2, 3)))


def _same_people(atoms: Atoms, families: list[_Family]) -> np.ndarray:
    """(families, 1 + sites, periods): a number, the same for families that are the same people there."""
    number = [atoms.families.index(one.name) for one in families]
    by_site = atoms.stands_for[number].reshape(len(families), len(atoms.sites), len(atoms.periods))
    is_one = (by_site == by_site[:, :1]).all(axis=1)
    own = np.array(number)[:, None] + len(atoms.families)  # a number of nobody else's
    return np.concatenate([np.where(is_one, by_site[:, 0], own)[:, None], by_site], axis=1)


def _share(families: list[_Family], same: np.ndarray) -> None:
    """What is known of the people of one family is known of all that are the same people there."""
    for (i, one), (j, other) in product(enumerate(families), repeat=2):
        if i == j:
            continue
        alike = (same[i] == same[j])[:, :, None, None] & other.is_there[FIRST]
        new = alike & ~one.is_there[FIRST]
        one.n[FIRST][new], one.is_there[FIRST][new] = other.n[FIRST][new], True
        one.known[FIRST][new] = other.known[FIRST][new]
        one.known[FIRST][alike & other.known[FIRST]] = True


def _follow(one: _Family, pieces: np.ndarray) -> None:
    """Mark what single sums give back."""
    for axis in _summed(one):
        n_known = np.moveaxis(one.known, axis, 0)  # a view: what is marked in it is marked in the family
        parts_unknown = (~n_known[1:]).sum(axis=0)
        total = n_known[FIRST]
        there = np.moveaxis(one.is_there, axis, 0)
        is_a_sum = there[FIRST] & there[1:].any(axis=0) & (one.own if axis == 0 else True)
        n_known[1:] |= total & is_a_sum & (parts_unknown == 1)
        n_known[FIRST] |= is_a_sum & (parts_unknown == 0)
    for total, left in _left_of_ages(one, pieces):
        for part in np.flatnonzero((pieces & ~pieces[total]).sum(axis=1) == 0):
            is_it = (left == pieces[part]).all(axis=-1) & one.is_there[..., part]
            one.known[..., part] |= is_it & one.known[..., total] & one.is_there[..., total]
        one.known[..., total] |= one.is_there[..., total] & ~left.any(axis=-1)


def _summed(one: _Family) -> list[int]:
    """The axes that add up: bands of a banding, sites, sexes."""
    return [*([0] if len(one.bands) > 1 else []), 1, 3]


def _left_of_ages(one: _Family, pieces: np.ndarray) -> Iterator[tuple[int, np.ndarray]]:
    """Each range of ages that has others inside it, with the pieces of age that no known one of these covers.

    Shapes   pieces: (ranges, pieces) of bool; out: (…, pieces) of bool. Where nobody is, nobody is left.
    """
    for total in range(pieces.shape[0]):
        inside = [r for r in _widest_first(pieces, total) if one.is_there[..., r].any()]
        if not inside:
            continue
        left = np.broadcast_to(pieces[total], (*one.n.shape[:-1], pieces.shape[1])).copy()
        for part in inside:
            is_told = one.known[..., part] & (one.is_there[..., part] | one.own[part])
            fits = is_told & left[..., pieces[part]].all(axis=-1)
            left[..., pieces[part]] &= ~fits[..., None]
        yield total, left


def _widest_first(pieces: np.ndarray, total: int) -> list[int]:
    inside = [r for r in range(pieces.shape[0]) if r != total and not (pieces[r] & ~pieces[total]).any()]
    return sorted(inside, key=lambda r: -int(pieces[r].sum()))


def _few_of(one: _Family, axes: list[dict], pieces: np.ndarray, minimum: int) -> Iterator[tuple]:
    for axis in _summed(one):
        n, known, there = (np.moveaxis(of, axis, 0) for of in (one.n, one.known, one.is_there))
        left = n[FIRST] - (n[1:] * known[1:]).sum(axis=0)
        few = there[FIRST] & known[FIRST] & one.own & (~known[1:]).any(axis=0)
        few &= (left >= 1) & (left < minimum)
        for at in np.argwhere(few):
            yield _described(one, axes, (*at[:axis], FIRST, *at[axis:]), int(left[tuple(at)]))
    for total in np.flatnonzero(one.own):
        covered = np.zeros(one.n.shape[:-1], dtype=np.int64)
        still = np.broadcast_to(pieces[total], (*one.n.shape[:-1], pieces.shape[1])).copy()
        for part in _widest_first(pieces, total):
            fits = one.is_there[..., part] & one.known[..., part] & still[..., pieces[part]].all(axis=-1)
            still[..., pieces[part]] &= ~fits[..., None]
            covered += np.where(fits, one.n[..., part], 0)
        left = one.n[..., total] - covered
        few = one.is_there[..., total] & one.known[..., total] & (left >= 1) & (left < minimum) & (covered > 0)
        for at in np.argwhere(few):
            yield _described(one, axes, (*at, total), int(left[tuple(at)]))


def _described(one: _Family, axes: list[dict], at: tuple[int, ...], left: int) -> tuple:
    band = one.bands[at[0]]
    site, period, sex, ages = (list(axis)[i] for axis, i in zip(axes, at[1:], strict=True))
    return "band" if band else "people", one.name, band, site, period, sex, *ages, left
