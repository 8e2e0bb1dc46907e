"""Whether an analyser weighs as it did: the changes of people who were measured on it, against those of the others.

A site's mean weight cannot show a kilogram: people differ by fifteen. A person's own change can, and it is compared
with what the same kind of people changed elsewhere, what this site's people usually change more or less than that,
and what those measured on the site's other analysers changed in the same weeks. What is left is the analyser.

Every fault of the site that may have begun in some month (analyser_fault.py) is weighed at the end of each period, and
the evidence goes to a control chart (fault_verdict.py) that says whether an analyser is at fault, and which.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
from scipy.special import ndtri

from pipeline.statistics.analyser_fault import DRIFT, SHIFT, Fault, SiteModel, Usual
from pipeline.statistics.change_contrast import Contrasts
from pipeline.statistics.fault_verdict import Explanation, Verdict, explanations, verdict
from pipeline.statistics.one_thread import on_one_thread

_MONTHS_TO_WAIT = 6  # for a signal to become clear
_BEYOND_CHANCE = 3.0  # standard errors of a known fault's drift
_FEWEST_SCORES = 20  # from which their spread is estimated
_Z = float(ndtri(0.975))

_SITE_PACES = {
    "pace": 0.5,
    "first_pace": 0.6,
    "later_pace": 0.3,
    "pace_change": 0.08,
}  # kg, percentage points
USUAL = {
    "weight": Usual(**_SITE_PACES, level=0.1, wander=0.08, abroad=0.25, shift=0.75, drift=0.75),
    "body_fat_percent": Usual(**_SITE_PACES, level=0.8, wander=0.1, abroad=1.0, shift=2.0, drift=1.0),
}


@dataclass(frozen=True)
class Chart:
    """limit: of R, for a signal; also the least mean number of months of a site in order to one."""

    limit: float

    @property
    def decision(self) -> float:
        """The limit as upper and lower sum are written."""
        return float(np.log1p(self.limit))


@dataclass(frozen=True)
class SiteState:
    """What a site's chart knows at the end of a period: with its contrasts so far, all that later periods stand on.

    since: the first month in which a fault may have begun that is not known yet. last_way: analyser → whether its last
    signal was upward. shifted: analysers whose last signal was a shift.
    """

    contrasts: Contrasts | None = None
    found: tuple[Fault, ...] = ()
    since: int = 0
    last_way: Mapping[int, bool] = field(default_factory=dict)
    shifted: frozenset[int] = frozenset()


class DeviceCharts:
    """Every analyser's error, sums and signal as periods are taken in order, of one measure.

    A period is judged by what was known at its end: figures of past periods do not change when a later one comes, and
    a later one can be taken without the earlier ones when their end states are given.

    Source   Roberts (1966) Technometrics 8:411-30; Pollak (1985) Ann Stat 13:206-27 (run length by the martingale);
             Lai (1998) IEEE Trans Inf Theory 44:2917-29 (dependent data). Harvey, Forecasting, Structural Time Series
             Models and the Kalman Filter (1989) ch. 5 for the error (auxiliary residuals). The combination is the
             project's own: checked in tests/statistics/test_device_drift.py and by
             tests/benchmarks/device_operating_curve.py.
    """

    def __init__(
        self,
        devices: list[str],
        usual: Usual,
        chart: Chart,
        before: Mapping[str, SiteState] | None = None,
        scores: Iterable[float] = (),
    ):
        """devices: names by place. before: site → its state at the end of the last period; scores: all so far."""
        self.devices, self.usual, self.chart = devices, usual, chart
        self.scores = list(scores)
        self.sites = {site: SiteChart(usual, chart, state) for site, state in (before or {}).items()}

    @on_one_thread
    def next(self, period: str, contrasts: Mapping[str, Contrasts]) -> list[tuple]:
        """Take in the contrasts of the sites that have any in the period; the rows of device_table of the period."""
        of_period = []
        for site, found in contrasts.items():
            chart = self.sites.setdefault(site, SiteChart(self.usual, self.chart))
            chart.take(found)
            of_period += chart.scores()
        self.scores += of_period
        spread = _robust_spread(self.scores)
        return [
            (site, self.devices[device], period, *row)
            for site in contrasts
            for device, *row in self.sites[site].judge(spread)
        ]


def device_table(rows: list[tuple]) -> pl.DataFrame:
    """The rows of DeviceCharts, a row an analyser and period, sorted.

    Shapes   columns site, device, period, n, difference, low, high, score, upper_sum, lower_sum, is_lone, signal.
    Units    difference, low and high in the measure's unit, against the usual level of the site's analysers;
             n in people's changes that end in the period on the analyser. Sums: log(1 + R) of the faults by which the
             analyser reads more or less. signal: shift, drift, "pace" (a lone analyser's drift or a change of
             everybody's pace: nothing tells which), "not determined" (a fault at the site; more than one analyser
             explains it), or empty. score: of the period's own error, in standard deviations. is_lone: no other
             analyser of the site was known by then.
    Missing  an analyser that nobody came back to in a period has no row; one whose error cannot be told from the
             rest of the model has nan for score and difference.
    """
    schema: dict[str, Any] = dict.fromkeys(("site", "device", "period"), pl.String) | {"n": pl.Int64}
    figures = ("difference", "low", "high", "score", "upper_sum", "lower_sum")
    schema |= dict.fromkeys(figures, pl.Float64) | {"is_lone": pl.Boolean, "signal": pl.String}
    return pl.DataFrame(rows, schema=schema, orient="row").sort("site", "device", "period")


class SiteChart:
    """The control chart of one site as periods are taken in order."""

    def __init__(self, usual: Usual, chart: Chart, before: SiteState | None = None):
        self.usual, self.chart = usual, chart
        before = before or SiteState()
        self.contrasts = before.contrasts  # all so far
        self.found = list(before.found)
        self.since = before.since
        self.last_way = dict(before.last_way)
        self.shifted = set(before.shifted)

    @property
    def state(self) -> SiteState:
        return SiteState(
            self.contrasts, tuple(self.found), self.since, dict(self.last_way), frozenset(self.shifted)
        )

    def take(self, of_period: Contrasts) -> None:
        """A period's contrasts, and the model of the site with them."""
        self.now = of_period
        self.contrasts = self.contrasts.followed_by(of_period) if self.contrasts else of_period
        every = np.concatenate([self.contrasts.device, self.contrasts.earlier_device])
        self.devices = [int(device) for device in np.unique(every) if device >= 0]
        self.model = SiteModel(self.contrasts, self.devices, self.found, self.usual)
        self.months = range(int(of_period.month.min()), int(of_period.month.max()) + 1)
        self.errors = self._errors()

    def scores(self) -> list[float]:
        """Of every analyser that somebody came back to in the period."""
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
            self.errors = {device: (*error[:2], scored[device][2]) for device, error in self.errors.items()}
        return self._rows(of, found, spread)

    def _rows(self, of: list[Explanation], found: Verdict, spread: float) -> list[tuple]:
        rows = []
        for device, (difference, error, score) in self.errors.items():
            own = [one for one in of if device in one.devices and (len(self.devices) == 1 or not one.is_pace)]
            signal = self._word(device, found)
            half = _Z * error * spread
            rows.append((
                device, int(self.now.n[self.now.device == device].sum()), difference, difference - half,
                difference + half, score / spread, *_sums(own), len(self.devices) == 1, signal,
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
        return {
            int(device): self.model.error(int(device), self.months) for device in np.unique(self.now.device)
        }


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
