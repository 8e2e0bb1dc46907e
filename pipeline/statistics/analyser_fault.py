"""Evidence that an analyser of a site began to read otherwise in some month, from people's changes.

The model of a site while its analysers are in order: a change from analyser v at time s to analyser u at time t has
the mean

    β_stage·(t − s) + P(t) − P(s) + w_month(t) − w_month(s) + a_u − a_v,

where β is the site's own pace beyond what was expected (people change most at first, so each stage has its own), P
what the pace gained or lost meanwhile (its slope changes a little every month), w what a month does to everyone at the
site and a the level of each analyser. All are normal with the usual spreads below.

A fault adds to that, from a month T on: a *shift* adds the same to every later reading of an analyser, whatever the
time between two readings; a *drift* adds in proportion to the time since T. This is what tells a lone analyser's shift
from a change of the programme's pace, which adds in proportion to time; and why nothing in people's changes tells a
lone analyser's drift from a change of pace: the two are the same column of the design.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pipeline.statistics.change_contrast import ELSEWHERE, Contrasts, Floats, month_begins

SHIFT, DRIFT, PACE = "shift", "drift", "pace"
BEGINNINGS_A_MONTH = 2  # a fault may have begun with a month, or half-way through
LONGEST_AGO = 9  # months: no fault is looked for that began earlier
_FOUND = 2.0  # times the usual size: what was found may be of nearly any
_ANYTHING = 100.0  # standard deviation of an error about which nothing is supposed
_NO_INFORMATION = 1e-9  # 1 over the square of a standard error of 30,000 kg
_MONTHS_A_QUARTER = 3


@dataclass(frozen=True)
class Usual:
    """What is usual of a measure, as standard deviations in its unit; the project's choice unless a source is named.

    level        between analysers that are in order: half the in-service limit of a 100 g class III platform is
                 0.1 kg (OIML R 76-1)
    pace         between sites, of the mean change in 13 weeks
    first_pace   what a site adds to that in people's first change, where a programme works most
    later_pace   the same in changes that begin half a year after the first reading
    pace_change  of a site's pace within a quarter
    wander       of a whole site from month to month: clothing, who comes
    abroad       of another site's analyser and season against this one's
    shift        size of an analyser's shift when there is one
    drift        size of its drift in a quarter, and of a break in a site's pace
    """

    level: float
    pace: float
    first_pace: float
    later_pace: float
    pace_change: float
    wander: float
    abroad: float
    shift: float
    drift: float

    def size(self, kind: str) -> float:
        """Of a fault of this kind."""
        return self.shift if kind == SHIFT else self.drift


@dataclass(frozen=True)
class Fault:
    """Something that began in a month on some analysers of a site (places in Places.devices).

    PACE is a change of everybody's pace, and the drift of a lone analyser or of all analysers alike.
    Units    month: 12 × year + month − 1, and the part of the month that had gone.
    """

    devices: tuple[int, ...]
    kind: str
    month: float


@dataclass(frozen=True)
class Evidence:
    """For each fault: the score (derivative of the log likelihood by its size, at 0) and the information.

    Shapes   score, information: (faults,).
    """

    faults: list[Fault]
    score: Floats
    information: Floats

    def likelihood_ratio(self, size: Floats, spread: float) -> tuple[Floats, Floats]:
        """Likelihood with the fault over that without, its size normal about 0; upward and downward parts.

        Shapes   size: (faults,), standard deviation of each fault's size; both out (faults,), they add to the ratio.
        Units    spread: by which all standard deviations of the model are taken to be larger.
        Source   a normal likelihood integrated over a normal size: e.g. Kass & Raftery (1995) J Am Stat Assoc
                 90:773-95, section 2; Lai (1998) IEEE Trans Inf Theory 44:2917-29 for its use in charts.
        """
        information, score = self.information / spread**2, self.score / spread**2
        precision = information + 1 / size**2
        log_ratio = score**2 / precision / 2 - np.log(precision * size**2) / 2
        ratio, upward = np.exp(np.minimum(log_ratio, 600)), ndtr(score / np.sqrt(precision))
        return ratio * upward, ratio * (1 - upward)


class SiteModel:
    """One site's contrasts up to the end of a period, under what is usual and what was already found there."""

    def __init__(self, contrasts: Contrasts, devices: list[int], found: list[Fault], usual: Usual):
        """devices: those of the site, in order. found: faults that are known by now, of any size."""
        self.of, self.devices, self.found, self.usual = contrasts, devices, found, usual
        here = contrasts.earlier_device != ELSEWHERE
        self.begin, self.end = contrasts.end - contrasts.quarters, contrasts.end
        self.weight = 1 / (contrasts.variance + np.where(here, 0, usual.abroad**2))
        self.here = here
        self.first, self.last = int(contrasts.month.min()), int(contrasts.month.max())
        self.design, self.prior = self._states()
        self.weighted = self.design * self.weight[:, None]
        self.precision = self.weighted.T @ self.design + np.diag(1 / self.prior**2)
        self.change = self.weighted.T @ contrasts.change

    def evidence(self, since: int) -> Evidence:
        """Of every fault that may have begun in a month from `since` on, and at most nine months ago.

        A shift or drift of one analyser, a shift of all of the site together, or a change of pace.
        """
        everyone = tuple(self.devices)
        kinds = [(everyone, SHIFT), (everyone, PACE)]
        if len(everyone) > 1:
            kinds += [((device,), kind) for device in everyone for kind in (SHIFT, DRIFT)]
        first = max(since, self.first, self.last + 1 - LONGEST_AGO)
        months = np.arange(first, self.last + 1, 1 / BEGINNINGS_A_MONTH)
        faults = [Fault(devices, kind, month) for devices, kind in kinds for month in months.tolist()]
        if not faults:
            return Evidence([], np.zeros(0), np.zeros(0))
        sizes = {kind: self._after_and_before(kind, months) for kind in (SHIFT, DRIFT, PACE)}
        columns = np.column_stack([self._of(devices, kind, *sizes[kind]) for devices, kind in kinds])
        shared = self.weighted.T @ columns
        solved = np.linalg.solve(self.precision, np.column_stack([shared, self.change]))
        information = np.einsum("ij,ij->j", columns * self.weight[:, None], columns)
        information = np.maximum(information - np.einsum("ij,ij->j", shared, solved[:, :-1]), 0)
        score = (columns * self.weight[:, None]).T @ self.of.change - shared.T @ solved[:, -1]
        return Evidence(faults, np.where(information > _NO_INFORMATION, score, 0), information)

    def columns(self, devices: tuple[int, ...], kind: str, months: Floats) -> Floats:
        """What faults of size 1 that began in some months add to each contrast: (contrasts, months)."""
        return self._of(devices, kind, *self._after_and_before(kind, months))

    def _after_and_before(self, kind: str, months: Floats) -> tuple[Floats, Floats]:
        """How much of faults of size 1 is in the later and in the earlier reading: (contrasts, months) each."""
        if kind == SHIFT:
            return tuple(_share_after(month[:, None], months) for month in (self.of.month, self.of.earlier_month))
        since = moments(months)
        return tuple(np.maximum(time[:, None] - since, 0) for time in (self.end, self.begin))

    def _of(self, devices: tuple[int, ...], kind: str, after: Floats, before: Floats) -> Floats:
        if kind == PACE:
            return after - self.here[:, None] * before
        later, earlier = (
            np.logical_or.reduce([measured_on == device for device in devices])
            for measured_on in (self.of.device, self.of.earlier_device)
        )
        return later[:, None] * after - earlier[:, None] * before

    def error(self, device: int, months: range) -> tuple[float, float, float]:
        """An analyser's error in a period, nothing supposed of how it changed: (estimate, standard error, score).

        The error is against the usual level of the site's analysers. score: of the period's own extra error, over its
        standard deviation; nan, all three, where it cannot be told from the rest.
        """
        is_now, was_now = (
            (month >= months.start) & (month < months.stop) for month in (self.of.month, self.of.earlier_month)
        )
        extra = 1.0 * (self.of.device == device) * is_now
        extra -= (self.of.earlier_device == device) * was_now
        size = len(self.precision)
        shared = self.weighted.T @ extra
        wide = np.zeros((size + 1, size + 1))
        wide[:size, :size], wide[size, :size], wide[:size, size] = self.precision, shared, shared
        own = extra @ (self.weight * extra)
        wide[size, size] = own + _ANYTHING**-2
        right = np.append(self.change, (self.weight * extra) @ self.of.change)
        pick = np.append(self._level(device, months), 1.0)
        before = np.linalg.solve(self.precision, np.column_stack([shared, self.change]))
        information = own - shared @ before[:, 0]
        if information < _NO_INFORMATION:
            return np.nan, np.nan, np.nan
        solved = np.linalg.solve(wide, np.column_stack([right, pick]))
        score = (right[size] - shared @ before[:, 1]) / np.sqrt(information)
        return float(pick @ solved[:, 0]), float(np.sqrt(pick @ solved[:, 1])), float(score)

    def size(self, fault: Fault) -> float:
        """Of a fault that is known, over its standard error."""
        place = len(self.precision) - len(self.found) + self.found.index(fault)
        pick = np.zeros(len(self.precision))
        pick[place] = 1
        mean, variance = np.linalg.solve(self.precision, np.column_stack([self.change, pick]))[place]
        return float(mean / np.sqrt(variance))

    def _states(self) -> tuple[Floats, Floats]:
        """Columns of what the model holds, and their usual spread."""
        of, usual = self.of, self.usual
        columns: list[NDArray] = [of.quarters, of.quarters * (of.stage == 0), of.quarters * (of.stage == 2)]
        prior = [usual.pace, usual.first_pace, usual.later_pace]
        breaks = self.columns((), PACE, np.arange(self.first, self.last + 1.0))
        columns += list(breaks.T)
        prior += breaks.shape[1] * [usual.pace_change / np.sqrt(_MONTHS_A_QUARTER)]
        for month in range(int(min(self.first, of.earlier_month.min())), self.last + 1):
            columns.append(1.0 * (of.month == month) - ((of.earlier_month == month) & self.here))
            prior.append(usual.wander)
        for device in self.devices:
            columns.append(1.0 * (of.device == device) - (of.earlier_device == device))
            prior.append(usual.level)
        for fault in self.found:
            columns.append(self.columns(fault.devices, fault.kind, np.array([fault.month]))[:, 0])
            prior.append(_FOUND * self.usual.size(fault.kind))
        return np.column_stack(columns), np.array(prior)

    def _level(self, device: int, months: range) -> Floats:
        """Which states make up the analyser's level in the middle of a period."""
        levels = len(self.devices) + len(self.found)
        pick = np.zeros(len(self.precision))
        pick[len(pick) - levels + self.devices.index(device)] = 1
        middle = (month_begins(months.start) + month_begins(months.stop)) / 2
        for i, fault in enumerate(self.found):
            if device in fault.devices and fault.kind != PACE:
                place = len(pick) - len(self.found) + i
                pick[place] = 1.0 if fault.kind == SHIFT else max(middle - moments(np.array([fault.month]))[0], 0)
        return pick


def _share_after(month: NDArray[np.int64], began: Floats) -> Floats:
    """The share of a month's days that a fault was on."""
    return np.clip(month + 1 - began, 0, 1)


def moments(months: Floats) -> Floats:
    """Moments in months (12 × year + month − 1, with the part gone) in quarters of 91 days since 1970."""
    whole = np.floor(months).astype(np.int64)
    begin, end = month_begins(whole), month_begins(whole + 1)
    return begin + (months - whole) * (end - begin)
