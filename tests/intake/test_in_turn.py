"""Files are worked on side by side and filed in order: one worker or many, the store is the same."""

import threading
import time

import pytest
from invented_site import csv

from pipeline.intake.in_turn import in_turn


@pytest.mark.parametrize("workers", [1, 3])
def test_results_come_in_order_however_long_each_takes(macros, workers):
    filed = []

    def prepare(store, item):
        time.sleep(0.02 * (item % 3))
        return item

    def finish(store, item):
        filed.append(item)
        return item * 10

    assert list(in_turn(macros, range(9), prepare, finish, workers=workers)) == [
        item * 10 for item in range(9)
    ]
    assert filed == list(range(9))


def test_preparing_overlaps_and_filing_does_not(macros):
    both_prepare, filing = threading.Barrier(2, timeout=10), []

    def prepare(store, item):
        both_prepare.wait()
        return item

    def finish(store, item):
        filing.append(1)
        assert len(filing) == 1
        time.sleep(0.02)
        filing.pop()
        return item

    assert list(in_turn(macros, range(4), prepare, finish, workers=2)) == [0, 1, 2, 3]


@pytest.mark.parametrize("workers", [1, 3])
@pytest.mark.parametrize("half", ["prepare", "finish"])
def test_what_comes_before_a_failure_is_filed_and_nothing_after_it(macros, workers, half):
    filed = []

    def fails(item, where):
        if item == 3 and where == half:
            raise ZeroDivisionError(f"item {item}")

    def prepare(store, item):
        time.sleep(0.01 * (5 - item % 5))
        fails(item, "prepare")
        return item

    def finish(store, item):
        fails(item, "finish")
        filed.append(item)
        return item

    with pytest.raises(ZeroDivisionError, match="item 3"):
        list(in_turn(macros, range(8), prepare, finish, workers=workers))
    assert filed == [0, 1, 2]


def test_each_worker_has_temporary_tables_of_its_own(macros):
    def prepare(store, item):
        store.execute("create or replace temp table own as select $item as item", {"item": item})
        return item

    def finish(store, item):
        return store.value("select item from own") == item and store.value("select is_present('a', [''])")

    assert list(in_turn(macros, range(12), prepare, finish, workers=3)) == [True] * 12


def test_corrections_across_files_come_out_the_same_with_many_workers(house):
    for number in range(12):
        house.put(f"{number:02}.csv", csv(f"m1,2025-02-03,F,35,165.0,{60 + number % 5}.0"))
    house.work_with(threads=4)
    summary = house.receive()
    assert (summary.files_accepted, summary.files_already_received, summary.rows_read) == (5, 7, 5)
    assert house.accepted("file_id", "weight_kg") == [(5, 64.0)]
    assert house.counts() == [(1, 0, 0, 0, 1)] * 4 + [(1, 1, 0, 0, 0)]
