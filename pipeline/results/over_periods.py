"""Result tables that rest on people's readings over all periods: curves, analysers' charts, outcomes.

One reading more moves all of them, so they are worked out over everybody, or wait for their day
(pipeline/waiting_figures.py).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pipeline.programme import Programme
from pipeline.results.curve import build_curves
from pipeline.results.device import build_devices
from pipeline.results.outcome import build_outcomes
from pipeline.store import Store
from pipeline.visits import build_visits


def build_over_periods(
    store: Store,
    programme: Programme,
    progress: Callable[[int, int, str], None],
    periods: Sequence[str] | None = None,
) -> None:
    """Rewrite them, and what of people's visits and last values they are made of, in the caller's transaction.

    `periods`: those whose readings changed since they were last written, where the caller knows that nothing else
    did; None for all.
    """
    build_visits(store, programme)
    build_curves(store, programme.settings, progress)
    build_devices(store, programme, periods)
    build_outcomes(store, programme)
