"""Whether an analyser weighs as it did: the changes of people who were measured on it, against those of the others.

A site's mean weight cannot show a kilogram: people differ by fifteen. A person's own change can, and it is compared
with what the same kind of people changed elsewhere, what this site's people usually change more or less than that,
and what those measured on the site's other analysers changed in the same weeks. What is left is the analyser.

At the end of every period each possible fault of the site (analyser_fault.py) has a likelihood ratio against a site in
order for every month in which it may have begun. Their sum over those months is Shiryaev and Roberts's statistic R.
Without a fault the expectation of R is the number of months since it began, whatever the dependence between months
(R less the months is a martingale), so that a limit A is passed once in A months of a site at most, on average. Looked
at once a quarter it is passed far more seldom: the operating curve says how seldom. Where several explanations are
left, their shares in the sum are the chances of each, all faults being equally likely beforehand: an analyser is named
when its share is nine in ten.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
from scipy.special import ndtri
from threadpoolctl import threadpool_limits

from pipeline.statistics.analyser_fault import (
    BEGINNINGS_A_MONTH,
    DRIFT,
    PACE,
    SHIFT,
    Evidence,
    Fault,
    SiteModel,
    Usual,
)
from pipeline.statistics.change_contrast import ChangeContrasts, Contrasts

UNDETERMINED = "not determined"
_NAMED = 0.9  # share of an explanation from which it is given as the one
_PLAUSIBLE = 9.0  # times less likely than the best, and still worth telling
_MONTHS_TO_WAIT = 6  # for a signal to become clear
_BEYOND_CHANCE = 3.0  # standard errors of a known fault's drift
_FEWEST_SCORES = 20  # from which their spread is estimated
_Z = float(ndtri(0.975))

USUAL = {
    "weight": Usual(0.10, 0.50, 0.60, 0.30, 0.08, 0.08, 0.25, 0.75, 0.75),
    "body_fat_percent": Usual(0.80, 0.50, 0.60, 0.30, 0.08, 0.10, 1.00, 2.00, 1.00),
}


@dataclass(frozen=True)
class Chart:
    """limit: of R, for a signal; also the least mean number of months of a site in order to one."""

    limit: float

    @property
    def decision(self) -> float:
        """The limit as upper and lower sum are written."""
        return float(np.log1p(self.limit))


def device_table(cells: pl.DataFrame, usual: Usual, chart: Chart) -> pl.DataFrame:
    """Every analyser's error, sums and signal in every period.

    A period is judged by what was known at its end: figures of past periods do not change when a later one comes,
    but for the classes' spread, which the SQL takes over all periods.

    Shapes   cells: of sql/54_change_cell.sql, of one measure; out: columns site, device, period, n, difference, low,
             high, score, upper_sum, lower_sum, signal; a row an analyser and period, sorted.
    Units    difference, low and high in the measure's unit, against the usual level of the site's analysers;
             n in people's changes that end in the period on the analyser. Sums: log(1 + R) of the faults by which the
             analyser reads more or less. signal: shift, drift, "pace" (a lone analyser's drift or a change of
             everybody's pace: nothing tells which), "not determined" (a fault at the site; more than one analyser
             explains it), or empty. score: of the period's own error, in standard deviations.
    Missing  an analyser that nobody came back to in a period has no row; one whose error cannot be told from the
             rest of the model has nan for score and difference.
    Source   Roberts (1966) Technometrics 8:411-30; Pollak (1985) Ann Stat 13:206-27 (run length by the martingale);
             Lai (1998) IEEE Trans Inf Theory 44:2917-29 (dependent data). Harvey, Forecasting, Structural Time Series
             Models and the Kalman Filter (1989) ch. 5 for the error (auxiliary residuals). The combination is the
             project's own: checked in tests/statistics/test_device_drift.py and by
             tests/benchmarks/device_operating_curve.py.
    """
    contrasts = ChangeContrasts.of(cells)
    sites = {site: SiteChart(usual, chart) for site in contrasts.sites}
    rows: list[tuple] = []
    scores: list[float] = []
    with threadpool_limits(1, "blas"):
        for period in contrasts.periods:
            found = contrasts.next(period)
            for site, of_site in found.items():
                sites[site].take(of_site)
                scores += sites[site].scores()
            spread = _robust_spread(scores)
            for site in found:
                rows += [
                    (site, contrasts.devices[device], period, *row) for device, *row in sites[site].judge(spread)
                ]
    schema: dict[str, Any] = dict.fromkeys(("site", "device", "period"), pl.String) | {"n": pl.Int64}
    figures = ("difference", "low", "high", "score", "upper_sum", "lower_sum")
    schema |= dict.fromkeys(figures, pl.Float64) | {"signal": pl.String}
    return pl.DataFrame(rows, schema=schema, orient="row").sort("site", "device", "period")


@dataclass
class Explanation:
    """Some analysers of a site at fault, or everybody's pace: R upward and downward, R and the likeliest by kind."""

    devices: tuple[int, ...]
    is_pace: bool
    upper: float = 0.0
    lower: float = 0.0
    by_kind: dict[str, float] = field(default_factory=dict)
    likeliest: dict[str, tuple[float, Fault]] = field(default_factory=dict)

    @property
    def total(self) -> float:
        return self.upper + self.lower

    @property
    def largest(self) -> float:
        return max(self.upper, self.lower)

    @property
    def faults(self) -> list[Fault]:
        """The likeliest of each kind, the best first: what shifted may well go on, and what drifts may have shifted."""
        return [self.likeliest[kind][1] for kind in sorted(self.by_kind, key=lambda kind: -self.by_kind[kind])]


def explanations(evidence: Evidence, usual: Usual, spread: float) -> list[Explanation]:
    """The sums over months of the likelihood ratios, all kinds of fault equally likely; a change of pace as likely as
    all of them together."""
    found: dict[tuple, Explanation] = {}
    if not evidence.faults:
        return []
    size = np.array([usual.size(fault.kind) for fault in evidence.faults])
    kinds = len({(fault.devices, fault.kind) for fault in evidence.faults if fault.kind != PACE})
    for fault, upper, lower in zip(evidence.faults, *evidence.likelihood_ratio(size, spread), strict=True):
        is_pace = fault.kind == PACE
        weight = (1.0 if is_pace else 1 / kinds) / BEGINNINGS_A_MONTH
        one = found.setdefault((fault.devices, is_pace), Explanation(fault.devices, is_pace))
        ratio = weight * (upper + lower)
        one.upper += weight * upper
        one.lower += weight * lower
        one.by_kind[fault.kind] = one.by_kind.get(fault.kind, 0.0) + ratio
        if ratio > one.likeliest.get(fault.kind, (-1.0, fault))[0]:
            one.likeliest[fault.kind] = (ratio, fault)
    return list(found.values())


@dataclass(frozen=True)
class Verdict:
    """signals: analyser → word. best: the faults that explain most. is_up: of the first. is_clear: none else does."""

    signals: dict[int, str]
    best: list[Fault]
    is_up: bool = True
    is_clear: bool = True


def verdict(of: list[Explanation], devices: list[int], limit: float) -> Verdict:
    """What the explanations of a site's changes amount to.

    A sum must be past the limit. Where one explanation has nine tenths of all chances its analysers are named;
    otherwise every analyser whose explanation is at least a ninth as likely as the best is one of those that may be
    meant. A lone analyser's shift that might as well be a change of pace is given as that.
    """
    best = max(of, key=lambda one: one.largest, default=None)
    if best is None or best.largest < limit:
        return Verdict({}, [])
    is_up, is_clear = best.upper > best.lower, best.total >= _NAMED * sum(one.total for one in of)
    meant = [best] if is_clear else [one for one in of if one.total * _PLAUSIBLE >= best.total]
    if best.is_pace or (len(devices) == 1 and not is_clear):
        # Analysers that can be compared with each other do not all drift alike: there it is the people.
        signals = dict.fromkeys(devices, PACE) if len(devices) == 1 else {}
        return Verdict(signals, best.faults, is_up, is_clear)
    if is_clear:
        return Verdict(dict.fromkeys(best.devices, best.faults[0].kind), best.faults, is_up)
    faults = [one for one in meant if not one.is_pace]
    return Verdict({d: UNDETERMINED for one in faults for d in one.devices}, _faults(faults), is_up, is_clear)


def _faults(of: list[Explanation]) -> list[Fault]:
    return [fault for one in sorted(of, key=lambda one: -one.total) for fault in one.faults]


class SiteChart:
    """The control chart of one site as periods are taken in order."""

    def __init__(self, usual: Usual, chart: Chart):
        self.usual, self.chart = usual, chart
        self.contrasts: Contrasts | None = None  # all so far
        self.found: list[Fault] = []
        self.since = 0  # the first month in which a fault may have begun that is not known yet
        self.last_way: dict[int, bool] = {}  # analyser → whether its last signal was upward
        self.shifted: set[int] = set()  # analysers whose last signal was a shift

    def take(self, of_period: Contrasts) -> None:
        """A period's contrasts, and the model of the site with them."""
        self.now = of_period
        self.contrasts = self.contrasts.followed_by(of_period) if self.contrasts else of_period
        every = np.concatenate([self.contrasts.device, self.contrasts.earlier_device])
        self.devices = [int(device) for device in np.unique(every) if device >= 0]
        self.model = SiteModel(self.contrasts, self.devices, self.found, self.usual)
        self.months = range(int(of_period.month.min()), int(of_period.month.max()) + 1)

    def scores(self) -> list[float]:
        """Of every analyser that somebody came back to in the period."""
        self.errors = self._errors()
        return [score for _, _, score in self.errors.values() if np.isfinite(score)]

    def judge(self, spread: float) -> list[tuple]:
        """Rows of the period. After a clear signal the sums start anew, with what was found as part of the model; while
        it is not clear what was found, another period may tell, for half a year."""
        self.growing = self._growing(spread)
        of = explanations(self.model.evidence(self.since), self.usual, spread)
        found = verdict(of, self.devices, self.chart.limit)
        if found.best and (found.is_clear or found.best[0].month <= self.months.stop - _MONTHS_TO_WAIT):
            self.found = [*self.found, *found.best]
            self.since = self.months.stop
            # With the fault in the model the site's other analysers no longer look as if they were at fault.
            self.model = SiteModel(self.contrasts, self.devices, self.found, self.usual)
            scored, self.errors = self.errors, self._errors()
            self.errors = {device: (*of[:2], scored[device][2]) for device, of in self.errors.items()}
        return self._rows(of, found, spread)

    def _rows(self, of: list[Explanation], found: Verdict, spread: float) -> list[tuple]:
        rows = []
        for device, (difference, error, score) in self.errors.items():
            own = [one for one in of if device in one.devices and (len(self.devices) == 1 or not one.is_pace)]
            signal = self._word(device, found)
            half = _Z * error * spread
            rows.append((
                device, int(self.now.n[self.now.device == device].sum()), difference, difference - half,
                difference + half, score / spread, *_sums(own), signal,
            ))  # fmt: skip
        return rows

    def _word(self, device: int, found: Verdict) -> str:
        """The signal of an analyser: a shift that goes on is a drift, and told once."""
        signal = found.signals.get(device, "")
        if signal == SHIFT and self.last_way.get(device) == found.is_up:
            signal = DRIFT
        if signal in (SHIFT, DRIFT):
            self.last_way[device] = found.is_up
        elif not signal and device in self.growing:
            signal = DRIFT
        if signal == SHIFT:
            self.shifted.add(device)
        elif signal == DRIFT:
            self.shifted.discard(device)
        return signal

    def _growing(self, spread: float) -> set[int]:
        """Analysers whose last signal was a shift that goes on in the same direction, beyond chance."""
        return {
            fault.devices[0] for fault in self.found
            if fault.kind == DRIFT and fault.devices[0] in self.shifted
            and self.model.size(fault) * (1 if self.last_way[fault.devices[0]] else -1) > _BEYOND_CHANCE * spread
        }  # fmt: skip

    def _errors(self) -> dict[int, tuple[float, float, float]]:
        return {int(device): self.model.error(int(device), self.months) for device in np.unique(self.now.device)}


def _sums(of: list[Explanation]) -> tuple[float, float]:
    """Upper and lower sum of an analyser: the largest of its explanations, as logarithms that begin at 0."""
    return (
        float(np.log1p(max((one.upper for one in of), default=0.0))),
        float(np.log1p(max((one.lower for one in of), default=0.0))),
    )


def _robust_spread(scores: list[float]) -> float:
    """Standard deviation of the scores so far, from the median absolute deviation; never under 1."""
    if len(scores) < _FEWEST_SCORES:
        return 1.0
    middle = np.median(scores)
    return max(1.0, 1.4826 * float(np.median(np.abs(np.array(scores) - middle))))
