"""Figures rounded to significant digits: each the double nearest to its decimal form, the same on every platform."""

from __future__ import annotations

import numpy as np

_AT_ONCE = 1 << 16  # numbers: what is worked out for them stays in the processor's cache
_EXACT_POWERS = 22  # 10 ** 22 is the last power of ten that a double holds exactly
_POWERS = np.array([float(10**n) for n in range(_EXACT_POWERS + 1)])
_NEAR_A_TIE = 1e-6  # of the last digit kept; the scaling is right to 4e-9 of it for 7 digits


def rounded(numbers: np.ndarray, digits: int) -> np.ndarray:
    """`float(f"{x:.{digits}g}") + 0.0` of each number, so 0.1 stays 0.1, and -0.0 becomes 0.0.

    Shapes   (n,) in, (n,) out.
    Missing  nan stays nan.
    Errors   ValueError where a number is infinite, or `digits` are more than 7: what is proved below is for those.

    A number is scaled so that the digits to keep stand before the point, and rounded to a whole number m. The product
    or quotient by an exact power of ten is off by at most half a unit of its last place, so m is the decimal form's
    unless the scaled number lies as near to half-way between two whole numbers as that. m has few digits and the power
    is exact, so scaling m back is one correctly rounded operation on exact numbers: the double nearest to the decimal
    form. Numbers near half-way, and those too large or small for exact powers, take the decimal form itself.
    """
    if not 1 <= digits <= 7:
        raise ValueError(f"{digits} significant digits: expected 1 to 7")
    numbers = np.asarray(numbers, dtype=np.float64)
    if np.isinf(numbers).any():
        raise ValueError("an infinite number has no digits to keep")
    found = np.empty(len(numbers))
    for start in range(0, len(numbers), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        found[part] = _part_rounded(numbers[part], digits)
    return found


def _part_rounded(numbers: np.ndarray, digits: int) -> np.ndarray:
    size = np.abs(numbers)
    with np.errstate(divide="ignore"):
        power = digits - 1 - np.floor(np.log10(size))  # of ten, by which to scale
    is_zero = size == 0
    in_reach = np.abs(power) <= _EXACT_POWERS  # not nan
    power = np.where(in_reach, power, 0).astype(np.int64)
    by = _POWERS[np.abs(power)]
    is_up = power >= 0
    scaled = np.where(is_up, size * by, size / by)
    whole = np.rint(scaled)
    is_plain = (
        in_reach
        & (scaled >= 10.0 ** (digits - 1))  # else the logarithm was off by one, next to a power of ten
        & (scaled < 10.0**digits)
        & (np.abs(scaled - np.floor(scaled) - 0.5) > _NEAR_A_TIE)
    )
    found = np.copysign(np.where(is_up, whole / by, whole * by), numbers)
    found[is_zero] = 0.0
    for place in np.flatnonzero(~is_plain & ~is_zero & ~np.isnan(numbers)).tolist():
        found[place] = float(f"{numbers[place]:.{digits}g}")
    return found
