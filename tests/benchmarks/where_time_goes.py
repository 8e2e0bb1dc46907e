"""Processor time of a run by SQL file, by query and by the functions that do the rest."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable
from importlib import import_module

from pipeline.store import Store

_FUNCTIONS = (
    ("pipeline.intake.archive", "digest_of"), ("pipeline.intake.archive", "keep"),
    ("pipeline.intake.identifiers", "refuse_direct_identifiers"), ("pipeline.intake.readers", "reader_for"),
    ("pipeline.results.percentile", "percentiles_of_people"), ("pipeline.results.percentile", "percentile_rows"),
    ("pipeline.results.percentile", "people_below"),
)  # fmt: skip
_RESULTS = ("pipeline.results.building", "pipeline.results.over_periods")


def _called(function: str) -> Callable[..., str]:
    return lambda *_: f"{function}()"


class Spent:
    """Seconds by name. Of a name that holds others, such as build_outcomes, they count under both.

    With several threads a call's seconds hold those of the others meanwhile: profile with one ([limits] threads = 1).
    """

    def __init__(self) -> None:
        self._seconds: dict[str, float] = defaultdict(float)
        self._calls: dict[str, int] = defaultdict(int)

    @classmethod
    def watch(cls) -> Spent:
        """Begin, in this process and for good."""
        spent = cls()
        for method in ("execute_file", "require_no_rows"):
            spent._wrap(Store, method, lambda store, name: name)
        for method in ("frame", "rows"):
            spent._wrap(Store, method, lambda store, query, *_: query.strip().splitlines()[0][:60])
        results = [
            (module, name) for module in _RESULTS for name in dir(import_module(module)) if name.startswith("build_")
        ]
        for module, function in (*_FUNCTIONS, *results):
            spent._wrap(import_module(module), function, _called(function))
        return spent

    def _wrap(self, owner: object, name: str, label: Callable[..., str]) -> None:
        original = getattr(owner, name)

        def timed(*arguments, **named):
            before = time.process_time()
            try:
                return original(*arguments, **named)
            finally:
                key = label(*arguments)
                self._seconds[key] += time.process_time() - before
                self._calls[key] += 1

        setattr(owner, name, timed)

    def largest(self, most: int = 25) -> list[tuple[str, int, float]]:
        """(name, calls, seconds), the dearest first."""
        names = sorted(self._seconds, key=self._seconds.__getitem__, reverse=True)
        return [(name, self._calls[name], round(self._seconds[name], 2)) for name in names[:most]]
