"""Several passes of files at the same time, but filed one after the other, in the order of the inbox.

Reading, normalising and checking a pass touches nothing that another needs, so workers do that side by side, each on
its own connection. What becomes of a row depends on the files before it, so filing waits for its turn:
the store comes out the same with one worker or many.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

from pipeline.store import Store

Item = TypeVar("Item")
Prepared = TypeVar("Prepared")
Result = TypeVar("Result")


class _Stopped(Exception):
    """An earlier item failed: this one is not filed."""


class _Turns:
    """Whose turn it is to file."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._next = 0
        self._failed_at: int | None = None

    @contextmanager
    def of(self, number: int) -> Iterator[None]:
        """Wait until every earlier item is filed; then nobody else files until the with block ends."""
        with self._changed:
            self._changed.wait_for(lambda: self._next == number or self._is_stopped(number))
            if self._is_stopped(number):
                raise _Stopped
        yield
        with self._changed:
            self._next = number + 1
            self._changed.notify_all()

    def fail(self, number: int) -> None:
        with self._changed:
            self._failed_at = number if self._failed_at is None else min(number, self._failed_at)
            self._changed.notify_all()

    def _is_stopped(self, number: int) -> bool:
        return self._failed_at is not None and self._failed_at < number


def in_turn(
    store: Store,
    items: Sequence[Item],
    prepare: Callable[[Store, Item], Prepared],
    finish: Callable[[Store, Prepared], Result],
    *,
    workers: int,
) -> Iterator[Result]:
    """The result of each item, in order. `prepare` runs side by side, `finish` in turn.

    Errors   the error of the first item that fails; items before it are finished, none after it is.
    """
    if workers <= 1 or len(items) <= 1:
        for item in items:
            yield finish(store, prepare(store, item))
        return
    turns, own, siblings = _Turns(), threading.local(), []

    def begin() -> None:
        own.store = store.beside()
        siblings.append(own.store)

    def work(number: int, item: Item) -> Result:
        try:
            prepared = prepare(own.store, item)
            with turns.of(number):
                return finish(own.store, prepared)
        except BaseException:
            turns.fail(number)
            raise

    pool = ThreadPoolExecutor(min(workers, len(items)), initializer=begin)
    try:
        for future in [pool.submit(work, number, item) for number, item in enumerate(items)]:
            yield future.result()
    finally:
        turns.fail(-1)  # where the caller stopped half-way, nobody waits for a turn that never comes
        pool.shutdown(cancel_futures=True)
        for sibling in siblings:
            sibling.close()
