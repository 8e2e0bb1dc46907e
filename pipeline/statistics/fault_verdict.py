"""From the evidence for every fault of a site to what is said of its analysers.

Each possible fault has a likelihood ratio against a site in order for every month in which it may have begun. Their sum
over those months is Shiryaev and Roberts's statistic R. Without a fault the expectation of R is the number of months
since it began, whatever the dependence between months (R less the months is a martingale), so that a limit A is passed
once in A months of a site at most, on average. Looked at once a quarter it is passed far more seldom:
tests/benchmarks/results/device_operating_curve.md says how seldom. Where several explanations are left, their shares in
the sum are the chances of each, all faults being equally likely beforehand: an analyser is named when its share is nine
in ten.

Source   Roberts (1966) Technometrics 8:411-30; Pollak (1985) Ann Stat 13:206-27 (run length by the martingale); Lai
         (1998) IEEE Trans Inf Theory 44:2917-29 (dependent data).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pipeline.statistics.analyser_fault import BEGINNINGS_A_MONTH, PACE, Evidence, Fault, Usual

UNDETERMINED = "not determined"
_NAMED = 0.9  # share of an explanation from which it is given as the one
_PLAUSIBLE = 9.0  # times less likely than the best, and still worth telling


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
