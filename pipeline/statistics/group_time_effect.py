"""Sites that started at different times: change after a start, less that at sites that had not started yet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr, stdtrit

Floats = NDArray[np.float64]
LEAST_SITES = 4  # of either kind, below which an effect is called unreliable


@dataclass(frozen=True)
class Effect:
    """One figure: group_time and pre_trend of one start and period, event of one time since start, overall.

    start, period: numbers of periods, −1 where the figure has none; event_time: periods since the start.
    """

    kind: str
    start: int
    period: int
    event_time: int | None
    people: int
    comparison_people: int
    sites: int
    comparison_sites: int
    value: float
    low: float
    high: float
    p: float


@dataclass(frozen=True)
class _Cell:
    start: int
    period: int
    base: int
    treated: NDArray[np.int64]
    comparison: NDArray[np.int64]
    value: float
    loading: Floats  # (sites,): n_s/N of treated sites, −n_s/N of comparison sites
    people: int
    comparison_people: int

    @property
    def event_time(self) -> int:
        return self.period - self.start


def group_time_effects(
    start: ArrayLike, n: ArrayLike, total: ArrayLike, squares: ArrayLike, confidence: float = 0.95
) -> list[Effect]:
    """ATT(g, t) against sites not yet started, event-study means, the overall mean, and the check before the start.

    ATT(g, t) = mean change from period g − 1 to t at sites that start in g, less that at sites that start after t.
    Before the start the change is from t − 1 to t, against sites that start after g: were the sites alike, it would
    be about 0. Means over cells are weighted by treated people. Standard errors: a site's mean has the variance
    τ² + σ²/n, τ² between sites of one side of a cell, pooled over cells; a site's errors in different cells after a
    start are taken to be wholly correlated, which makes no interval too short, and in different periods before it,
    which do not overlap, to be independent. Student's t with two fewer degrees of freedom than sites. So a cell with
    a single site has an interval too, borrowed from the others; with no side of two sites there is none.

    Shapes   start: (sites,), the number of the period in which the site starts; n, total, squares:
             (sites, periods, periods): people seen in both periods [base, later], Σ and Σ² of their changes.
    Units    value in the unit of the change.
    Missing  a cell without people on either side is left out; limits and p are nan where τ² cannot be told.
    Errors   ValueError when the shapes differ.
    Source   Callaway & Sant'Anna (2021) J Econometrics 225:200-230, not-yet-treated comparison, no covariates,
             varying base before the start; the standard errors are the project's own, for few sites. Checked against
             statsmodels in tests/published/test_group_time_effect.py and by simulation in
             tests/benchmarks/outcome_recovery.py.
    """
    start = np.asarray(start, dtype=int)
    n, total, squares = (np.asarray(part, dtype=float) for part in (n, total, squares))
    if n.shape != (start.size, *n.shape[1:]) or total.shape != n.shape or squares.shape != n.shape:
        raise ValueError(f"shapes {start.shape}, {n.shape}, {total.shape}, {squares.shape}: they must agree")
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = total / n
        within = np.where(n > 1, (squares - total**2 / n) / (n - 1), np.nan)
    cells = list(_cells(start, n, mean))
    between, freedom = _between_sites(cells, n, mean, within)

    def error(weights: list[float], of: list[_Cell]) -> float:
        return _standard_error(weights, of, n, within, between)

    def effect(kind: str, of: list[_Cell], event_time: int | None) -> Effect:
        people = np.array([cell.people for cell in of], dtype=float)
        weights = list(people / people.sum())
        value = float(np.dot(weights, [cell.value for cell in of]))
        half, p = _half_and_p(value, error(weights, of), freedom, confidence)
        alone = of[0] if kind in ("group_time", "pre_trend") and len(of) == 1 else None
        return Effect(
            kind,
            alone.start if alone else -1,
            alone.period if alone else -1,
            event_time,
            max(cell.people for cell in of),
            max(cell.comparison_people for cell in of),
            np.unique(np.concatenate([cell.treated for cell in of])).size,
            np.unique(np.concatenate([cell.comparison for cell in of])).size,
            value,
            value - half,
            value + half,
            p,
        )

    return [effect(*asked) for asked in _asked_of(cells)]


def _asked_of(cells: list[_Cell]) -> Iterator[tuple[str, list[_Cell], int | None]]:
    """(kind, cells, event time) of each effect: of every cell alone, by time since the start, and of all together."""
    after = [cell for cell in cells if cell.event_time >= 0]
    before = [cell for cell in cells if cell.event_time < 0]
    yield from (("group_time", [cell], cell.event_time) for cell in after)
    yield from (("pre_trend", [cell], cell.event_time) for cell in before)
    for time in sorted({cell.event_time for cell in cells}):
        yield "event", [cell for cell in cells if cell.event_time == time], time
    if before:
        yield "overall_before", before, None
    if after:
        yield "overall", after, None


def _cells(start: NDArray[np.int64], n: Floats, mean: Floats) -> Iterator[_Cell]:
    periods = n.shape[1]
    for group in np.unique(start):
        for period in range(1, periods):
            base = group - 1 if period >= group else period - 1
            if not 0 <= base < period:
                continue
            has = n[:, base, period] > 0
            treated = np.flatnonzero((start == group) & has)
            comparison = np.flatnonzero((start > max(period, group)) & has)
            if not treated.size or not comparison.size:
                continue
            loading = np.zeros(start.size)
            for side, sign in ((treated, 1.0), (comparison, -1.0)):
                loading[side] = sign * n[side, base, period] / n[side, base, period].sum()
            there = loading != 0
            yield _Cell(
                int(group),
                period,
                int(base),
                treated,
                comparison,
                float(loading[there] @ mean[there, base, period]),
                loading,
                int(n[treated, base, period].sum()),
                int(n[comparison, base, period].sum()),
            )


def _between_sites(cells: list[_Cell], n: Floats, mean: Floats, within: Floats) -> tuple[float, int]:
    """τ² of sites on one side of a cell, by moments: E Σn(m − μ)² = Σn(1 − n/N)·τ² + Σσ²(1 − n/N)."""
    square = chance = size = 0.0
    seen: set[int] = set()
    for cell in cells:
        for side in (cell.treated, cell.comparison):
            if side.size < 2:
                continue
            people, at = n[side, cell.base, cell.period], mean[side, cell.base, cell.period]
            share = people / people.sum()
            spread = np.nan_to_num(within[side, cell.base, cell.period])
            square += float(people @ (at - share @ at) ** 2)
            chance += float(spread @ (1 - share))
            size += float(people @ (1 - share))
            seen |= set(side.tolist())
    if size == 0:
        return np.nan, 0
    return max(0.0, (square - chance) / size), max(1, len(seen) - 2)


def _standard_error(
    weights: list[float], cells: list[_Cell], n: Floats, within: Floats, between: float
) -> float:
    spans: dict[int, Floats] = {}  # cells before a start by their base; all cells after one together
    for weight, cell in zip(weights, cells, strict=True):
        people, spread = n[:, cell.base, cell.period], within[:, cell.base, cell.period]
        there = cell.loading != 0
        known = people[there & ~np.isnan(spread)].sum()
        pooled = np.nansum((people * spread)[there]) / known if known > 0 else np.nan
        noise = np.where(np.isnan(spread), pooled, spread)
        sd = np.sqrt(between + np.divide(noise, people, out=np.zeros_like(people), where=people > 0))
        span = cell.base if cell.event_time < 0 else -1
        error = np.where(there, np.abs(weight * cell.loading) * sd, 0.0)
        spans[span] = spans.get(span, np.zeros(n.shape[0])) + error
    return float(np.sqrt(sum(np.sum(of_site**2) for of_site in spans.values())))


def _half_and_p(value: float, error: float, freedom: int, confidence: float) -> tuple[float, float]:
    if not np.isfinite(error) or error <= 0 or freedom < 1:
        return np.nan, np.nan
    return (
        float(stdtrit(freedom, (1 + confidence) / 2)) * error,
        2 * float(stdtr(freedom, -abs(value) / error)),
    )
