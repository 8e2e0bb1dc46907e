"""Whether an analyser weighs as it did: the changes of people who were measured on it, against those of the others.

A site's mean weight cannot show a kilogram: people differ by fifteen. A person's own change can, and it is compared
with what the same kind of people changed elsewhere, what this site's people usually change more or less than that,
and what those measured on the site's other analysers changed in the same weeks. What is left is the analyser.

The model of one site, brought up to date one period after the other (a Kalman filter): a change from analyser v in
period s to analyser u in period t has the mean  expected + (β + β_t)·quarters + w_t − w_s + a_u − a_v,  where a is
the usual level of each analyser, β the site's own pace, β_t what the period adds to it and w what a period does to
everyone at the site. The score of an
analyser is the extra error of this period that would explain this period's changes best, over its standard error;
while nothing changes the scores are independent with mean 0 and standard deviation 1. They go to a CUSUM.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import ndtri

from pipeline.statistics.change_contrast import ChangeContrasts, Contrast

Floats = NDArray[np.float64]

_ANYTHING = 100.0  # standard deviation of an error about which nothing is supposed
_NO_INFORMATION = 1e-9  # 1 over the square of a standard error of 30,000 kg
_FEWEST_SCORES = 20  # from which their spread is estimated
_Z = float(ndtri(0.975))


@dataclass(frozen=True)
class Usual:
    """What is usual of a measure, as standard deviations in its unit; the project's choice unless a source is named.

    level        between analysers that are in order: half the in-service limit of a 100 g class III platform is
                 0.1 kg (OIML R 76-1)
    pace         between sites, of the mean change in 13 weeks
    pace_change  of one period's pace from the site's own, where analysers can be compared with each other
    lone_change  the same where one stands alone: its error and a change of pace look alike, and pace has its way
    wander       of a whole site from period to period: season, clothing, who comes
    new_level    of an analyser after it signalled
    """

    level: float
    pace: float
    pace_change: float
    lone_change: float
    wander: float
    new_level: float = 1.0


USUAL = {
    "weight": Usual(0.10, 0.50, 0.20, 0.35, 0.15),
    "body_fat_percent": Usual(0.80, 0.50, 0.20, 0.35, 0.20, 2.0),
}


@dataclass(frozen=True)
class Chart:
    """The CUSUM of the scores: reference k and decision h, both in standard deviations."""

    reference: float
    decision: float


def device_table(cells: pl.DataFrame, usual: Usual, chart: Chart) -> pl.DataFrame:
    """Every analyser's error, score and CUSUM in every period.

    A period is judged by what was known at its end: figures of past periods do not change when a later one comes,
    but for the classes' spread, which the SQL takes over all periods.

    Shapes   cells: of sql/54_change_cell.sql, of one measure; out: columns site, device, period, n, difference, low,
             high, score, upper_sum, lower_sum, is_alarm, is_lasting; a row an analyser and period, sorted.
    Units    difference, low and high in the measure's unit, against the usual level of the site's analysers;
             n in people's changes that end in the period on the analyser. Sums and score in standard deviations.
             is_lasting: the analyser's last signal was in the same direction.
    Missing  an analyser that nobody came back to in a period has no row; one whose error cannot be told from the
             rest of the model has nan for score and difference, and its sums stay.
    Source   Harvey, Forecasting, Structural Time Series Models and the Kalman Filter (1989) ch. 3 (prediction errors
             are independent) and ch. 5 (auxiliary residuals); Page (1954) for the sums. Project's own combination:
             checked in tests/statistics/test_device_drift.py and tests/benchmarks/device_operating_curve.py.
    """
    contrasts = ChangeContrasts.of(cells)
    sites = {site: _SiteChart(usual, chart) for site in contrasts.sites}
    rows: list[tuple] = []
    scores: list[float] = []
    for period in contrasts.periods:
        looks = {site: sites[site].filter.look_at(period, found) for site, found in contrasts.next(period, usual.level,
                 usual.wander).items()}  # fmt: skip
        scores += [look.score for of_site in looks.values() for look in of_site if np.isfinite(look.score)]
        spread = _robust_spread(scores)
        for site, of_site in looks.items():
            rows += [(site, *row) for row in sites[site].add(period, of_site, spread)]
    schema: dict[str, Any] = dict.fromkeys(("site", "device", "period"), pl.String) | {"n": pl.Int64}
    figures = ("difference", "low", "high", "score", "upper_sum", "lower_sum")
    schema |= dict.fromkeys(figures, pl.Float64) | dict.fromkeys(("is_alarm", "is_lasting"), pl.Boolean)
    return pl.DataFrame(rows, schema=schema, orient="row").sort("site", "device", "period")


@dataclass(frozen=True)
class Look:
    """One analyser in one period; score is not yet divided by the spread of all scores."""

    device: str
    n: int
    difference: float
    error: float
    score: float


class _SiteChart:
    """The control charts of one site's analysers: upper and lower sum, and the direction of the last signal."""

    def __init__(self, usual: Usual, chart: Chart):
        self.filter, self.chart = _SiteFilter(usual), chart
        self.sums: dict[str, tuple[float, float, int]] = {}

    def add(self, period: str, looks: list[Look], spread: float) -> list[tuple]:
        """Rows of a period; after a signal every sum of the site starts anew, the analyser's level too."""
        ways: dict[str, int] = {}
        for look in looks:
            above, below, last = self.sums.get(look.device, (0.0, 0.0, 0))
            if np.isfinite(look.score):
                above = max(0.0, above + look.score / spread - self.chart.reference)
                below = max(0.0, below - look.score / spread - self.chart.reference)
                if max(above, below) > self.chart.decision:
                    ways[look.device] = 1 if above > below else -1
            self.sums[look.device] = (above, below, last)
        blamed = dict(_to_blame(ways, self.sums, self.chart.decision)) if ways else {}
        rows = []
        for look in looks:
            above, below, last = self.sums[look.device]
            half, way = _Z * look.error, blamed.get(look.device, 0)
            rows.append((
                look.device, period, look.n, look.difference, look.difference - half, look.difference + half,
                look.score / spread, above, below, way != 0, way != 0 and way == last,
            ))  # fmt: skip
        if ways:
            self.sums = {
                device: (0.0, 0.0, blamed.get(device, last)) for device, (_, _, last) in self.sums.items()
            }
        for device in blamed:
            self.filter.forget(device, period)
        self.filter.learn()
        return rows


def _to_blame(
    ways: dict[str, int], sums: dict[str, tuple[float, float, int]], decision: float
) -> list[tuple[str, int]]:
    """Which analysers of a site signal, and in which direction, when some pass the limit.

    Analysers of one site are compared with each other: when one rises, the other seems to fall. Of two opposite
    directions only one is kept: that in which an analyser has signalled before and is half-way to the limit again,
    otherwise that of the largest sum.

    Shapes   ways: device → 1 or −1, those past the limit; sums: device → (upper, lower, direction of the last
             signal), all of the site.
    """
    side = {1: 0, -1: 1}
    known = [(device, of[2]) for device, of in sums.items() if of[2] and of[side[of[2]]] > decision / 2]
    opposed = [(device, way) for device, way in known if -way in ways.values()]
    if opposed:
        return opposed[:1]
    largest = max(ways, key=lambda device: sums[device][side[ways[device]]])
    return [(device, way) for device, way in ways.items() if way == ways[largest]]


def _robust_spread(scores: list[float]) -> float:
    """Standard deviation of the scores so far, from the median absolute deviation; never under 1."""
    if len(scores) < _FEWEST_SCORES:
        return 1.0
    middle = np.median(scores)
    return max(1.0, 1.4826 * float(np.median(np.abs(np.array(scores) - middle))))


class _SiteFilter:
    """What is known of one site after the periods seen so far: pace, period by period wander, level by analyser."""

    def __init__(self, usual: Usual):
        self.usual = usual
        self.places: dict[tuple, int] = {("pace",): 0}
        self.mean = np.zeros(1)
        self.covariance = np.array([[usual.pace**2]])
        self.epochs: dict[str, list[str]] = {}  # device → periods from which a new level holds
        self.waiting: tuple[str, list[Contrast]] | None = None
        self.stands_alone = True

    def look_at(self, period: str, contrasts: list[Contrast]) -> list[Look]:
        """Every analyser that somebody came back to, under the model as it was before this period."""
        self.stands_alone &= len({contrast.device for contrast in contrasts}) == 1
        self.waiting = (period, contrasts)
        design, change, noise = self._equations(period, contrasts)
        inverse = np.linalg.inv(design @ self.covariance @ design.T + np.diag(noise))
        error = change - design @ self.mean
        found = []
        for device in sorted({contrast.device for contrast in contrasts}):
            n = sum(contrast.n for contrast in contrasts if contrast.device == device)
            extra = np.array([
                float(contrast.device == device)
                - float(contrast.earlier_device == device and contrast.earlier_period == period)
                for contrast in contrasts
            ])  # fmt: skip
            information = extra @ inverse @ extra
            if information < _NO_INFORMATION:
                found.append(Look(device, n, np.nan, np.nan, np.nan))
                continue
            score = float(extra @ inverse @ error / np.sqrt(information))
            found.append(Look(device, n, *self._level(device, period, design, change, noise, extra), score))
        return found

    def forget(self, device: str, period: str) -> None:
        """From this period on the analyser has a level of its own that nothing is known of."""
        self.epochs.setdefault(device, []).append(period)

    def learn(self) -> None:
        """Take in the period last looked at, under the levels that now hold."""
        if self.waiting is not None:
            design, change, noise = self._equations(*self.waiting)
            self.mean, self.covariance = _updated(self.mean, self.covariance, design, change, noise)
            self.waiting = None

    def _level(self, device, period, design, change, noise, extra) -> tuple[float, float]:
        """The analyser's level in this period with its standard error, nothing supposed of how it changed."""
        size = self.mean.size
        wide = np.zeros((size + 1, size + 1))
        wide[:size, :size], wide[size, size] = self.covariance, _ANYTHING**2
        mean, covariance = _updated(
            np.append(self.mean, 0.0), wide, np.column_stack([design, extra]), change, noise
        )
        pick = np.zeros(size + 1)
        pick[size], pick[self._place_of_level(device, period)] = 1, 1
        return float(pick @ mean), float(np.sqrt(max(pick @ covariance @ pick, 0)))

    def _equations(self, period: str, contrasts: list[Contrast]) -> tuple[Floats, Floats, Floats]:
        """(design, change, noise): a row a contrast, a column a state."""
        entries = []
        for i, contrast in enumerate(contrasts):
            entries += [
                (i, self._place(("pace",)), contrast.quarters),
                (i, self._place(("pace", period)), contrast.quarters),
                (i, self._place(("wander", period)), 1.0),
                (i, self._place_of_level(contrast.device, period), 1.0),
            ]
            if contrast.earlier_device is not None:
                entries += [
                    (i, self._place(("wander", contrast.earlier_period)), -1.0),
                    (i, self._place_of_level(contrast.earlier_device, contrast.earlier_period), -1.0),
                ]
        design = np.zeros((len(contrasts), self.mean.size))
        for i, j, value in entries:
            design[i, j] += value
        return design, np.array([c.change for c in contrasts]), np.array([c.variance for c in contrasts])

    def _place_of_level(self, device: str, period: str) -> int:
        epoch = max((start for start in self.epochs.get(device, []) if start <= period), default="")
        return self._place(("level", device, epoch))

    def _place(self, key: tuple) -> int:
        """The state's place, added with what is usual when it is new."""
        if key not in self.places:
            self.places[key] = self.mean.size
            pace = self.usual.lone_change if self.stands_alone else self.usual.pace_change
            usual = {"pace": pace, "wander": self.usual.wander, "level": self.usual.level}[key[0]]
            if key[0] == "level" and key[2]:
                usual = self.usual.new_level
            size = self.mean.size
            self.mean = np.append(self.mean, 0.0)
            grown = np.zeros((size + 1, size + 1))
            grown[:size, :size], grown[size, size] = self.covariance, usual**2
            self.covariance = grown
        return self.places[key]


def _updated(
    mean: Floats, covariance: Floats, design: Floats, change: Floats, noise: Floats
) -> tuple[Floats, Floats]:
    """One step of the Kalman filter."""
    spread = design @ covariance @ design.T + np.diag(noise)
    gain = np.linalg.solve(spread, design @ covariance).T
    keep = np.eye(mean.size) - gain @ design
    return mean + gain @ (change - design @ mean), keep @ covariance @ keep.T + gain @ np.diag(noise) @ gain.T
