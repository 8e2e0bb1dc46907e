"""Cubic B-splines of age with their roughness penalty.

Knots are even in ln(age): growth from 5 to 20 then has as much room to bend as the sixty years after it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import BSpline

Floats = NDArray[np.float64]

_DEGREE = 3
_GAUSS_NODES = np.array([-1, 1]) / np.sqrt(3)  # two nodes integrate a product of two straight lines exactly


def distinct_ages(age: ArrayLike) -> tuple[Floats, NDArray[np.int64]]:
    """The ages that occur, ascending, and for each cell its row among them; no sort where cells come in order of age.

    Shapes   age (cells,) → ages (ages,), at (cells,), with ages[at] = age.
    Missing  no cells give no ages.
    """
    age = np.asarray(age, dtype=float)
    if not np.all(age[1:] >= age[:-1]):
        return np.unique(age, return_inverse=True)
    is_first = np.concatenate([np.full(min(age.size, 1), True), age[1:] > age[:-1]])
    return age[is_first], np.cumsum(is_first) - 1


@dataclass(frozen=True)
class AgeSpline:
    """A cubic B-spline basis on ages lowest to highest, in `segments` equal steps of ln(age)."""

    lowest: float
    highest: float
    segments: int

    @property
    def size(self) -> int:
        return self.segments + _DEGREE

    @property
    def _knots(self) -> Floats:
        step = 1 / self.segments
        return np.arange(-_DEGREE, self.segments + _DEGREE + 1) * step

    def basis(self, age: ArrayLike) -> Floats:
        """Shapes: age (ages,) → (ages, size). Missing: an age outside lowest to highest has a row of nan."""
        age = np.atleast_1d(np.asarray(age, dtype=float))
        is_inside = (age >= self.lowest) & (age <= self.highest)
        rows = np.full((age.size, self.size), np.nan)
        if is_inside.any():
            position = np.clip(self._position(age[is_inside]), 0, 1 - 1e-12)
            rows[is_inside] = BSpline.design_matrix(position, self._knots, _DEGREE).toarray()
        return rows

    def bases(self, ages: Sequence[Floats]) -> list[Floats]:
        """The basis of each of several lists of ages, every age worked out once: sites have the same ages.

        Shapes   each (ages,) → (ages, size) each.
        """
        distinct, at = np.unique(np.concatenate(ages), return_inverse=True)
        rows, ends = self.basis(distinct)[at], np.cumsum([len(each) for each in ages])
        return [rows[end - len(each) : end] for each, end in zip(ages, ends, strict=True)]

    def roughness_root(self) -> Floats:
        """R with |R·b|² = ∫ f″(t)² dt, over t = ln(age) scaled to 0–1, for coefficients b. Shape (2·segments, size).

        The root and not the square: for a stiff curve |R·b|² keeps its digits where bᵀ(RᵀR)b would cancel to noise.
        """
        step = 1 / self.segments
        middles = (np.arange(self.segments) + 0.5) * step
        nodes = (middles[:, None] + step / 2 * _GAUSS_NODES).ravel()
        curvature = np.empty((nodes.size, self.size))
        for j in range(self.size):
            unit = np.zeros(self.size)
            unit[j] = 1
            curvature[:, j] = BSpline(self._knots, unit, _DEGREE).derivative(2)(nodes)
        return np.sqrt(step / 2) * curvature

    def _position(self, age: Floats) -> Floats:
        return (np.log(age) - np.log(self.lowest)) / (np.log(self.highest) - np.log(self.lowest))
