"""What is past its time leaves at the next run, a whole period at once, and every account still adds up."""

from __future__ import annotations

from datetime import date

import pytest
from invented_programme import FORMATS, PERSON, Invented, invented, others

from pipeline import period as periods
from pipeline.programme import Retention


def of_two_years(folder, more: str) -> Invented:
    """One site; readings of 2022Q1 and 2022Q4, received in January 2023, and of 2023Q1, received in April."""
    made = invented(folder, more)
    for site in FORMATS:
        for path in (made.folder / "inbox" / site).iterdir():
            path.unlink()
    made.put(
        "north-quay", "a.csv", [*others(100, "2022-02-03", 20), *others(100, "2022-11-03", 30)], broken="1,2"
    )
    assert made.run("run", str(made.folder), "--as-of", "2023-01-10") == 0
    made.put("north-quay", "b.csv", others(100, "2023-02-03", 40))
    assert made.run("run", str(made.folder), "--as-of", "2023-04-10") == 0
    return made


def test_readings_leave_when_their_period_is_past_its_time_and_not_a_day_before(tmp_path):
    made = of_two_years(tmp_path / "programme", '[retention]\nreadings = "18 months"\n')
    # 2022Q1 ends on 31 March 2022; 18 months later is 30 September 2023
    assert made.run("run", str(made.folder), "--as-of", "2023-09-30") == 0
    assert made.accounts()[0] == ("north-quay/a.csv", 51, 50, 1, 0, 0, 0, 0)
    assert made.run("run", str(made.folder), "--as-of", "2023-10-01") == 0
    assert made.accounts()[0] == ("north-quay/a.csv", 51, 30, 1, 0, 0, 0, 20)
    with made.opened() as store:
        assert store.rows("select distinct period from reading.accepted order by 1") == [
            ("2022Q4",),
            ("2023Q1",),
        ]
        assert store.value("select count(*) from tally.value where period = '2022Q1'") == 0
        assert store.rows("select cause, rows, is_erased from ledger.removal") == [("retention", 20, True)]
    assert "2022Q1" not in (made.folder / "published/latest/data/prevalence.csv").read_text()
    # the kept copy loses the same lines
    assert made.is_anywhere("2022-02-03") == [] and made.is_anywhere("2022-11-03")


def test_held_rows_leave_by_the_day_their_file_was_received(tmp_path):
    made = of_two_years(tmp_path / "programme", '[retention]\nreadings = "18 months"\n')
    made.run("run", str(made.folder), "--as-of", "2024-07-09")
    assert made.accounts()[0][1:] == (51, 0, 1, 0, 0, 0, 50)
    made.run("run", str(made.folder), "--as-of", "2024-07-10")
    assert made.accounts()[0][1:] == (51, 0, 0, 0, 0, 0, 51)
    with made.opened() as store:
        assert store.value("select count(*) from ledger.held_row") == 0


def test_a_kept_copy_leaves_on_its_day_and_its_rows_stay(tmp_path):
    made = of_two_years(tmp_path / "programme", '[retention]\nfiles = "12 months"\n')
    made.run("run", str(made.folder), "--as-of", "2024-01-09")
    assert len(list((made.store / "archive").glob("*/*"))) == 2
    made.run("run", str(made.folder), "--as-of", "2024-01-10")
    assert len(list((made.store / "archive").glob("*/*"))) == 1
    assert made.accounts()[0] == ("north-quay/a.csv", 51, 50, 1, 0, 0, 0, 0)
    with made.opened() as store:
        assert store.rows("select kept_sha256 is null from ledger.file order by file_id") == [
            (True,),
            (False,),
        ]
        assert store.rows("select cause, rows, copies from ledger.removal") == [("retention", 0, 1)]
    # the file is still known by its bytes, and is not read again
    before = made.accounts()
    made.run("run", str(made.folder), "--as-of", "2024-01-10")
    assert made.accounts() == before


def test_a_reading_that_comes_after_its_time_is_counted_and_not_kept(tmp_path):
    made = of_two_years(tmp_path / "programme", '[retention]\nreadings = "18 months"\n')
    made.put("north-quay", "c.csv", [*others(500, "2022-03-31", 4), *others(500, "2023-03-31", 6)])
    made.run("run", str(made.folder), "--as-of", "2023-10-01")
    assert ("north-quay/c.csv", 10, 6, 0, 0, 0, 0, 4) in made.accounts()
    assert made.is_anywhere("2022-03-31") == []


def test_a_day_in_the_future_destroys_nothing(tmp_path):
    made = of_two_years(tmp_path / "programme", '[retention]\nfiles = "100 years"\nreadings = "100 years"\n')
    assert made.run("run", str(made.folder), "--as-of", "2624-01-10") == 0
    assert made.accounts()[0] == ("north-quay/a.csv", 51, 50, 1, 0, 0, 0, 0)
    assert len(list((made.store / "archive").glob("*/*"))) == 2


def test_without_retention_nothing_ever_leaves(run_once):
    with run_once.opened() as store:
        assert store.value("select count(*) from ledger.removal") == 0
    assert run_once.is_anywhere(PERSON)


@pytest.mark.parametrize(
    ("day", "length", "before"),
    [
        (date(2025, 5, 31), "3 months", date(2025, 2, 28)),
        (date(2024, 5, 31), "3 months", date(2024, 2, 29)),
        (date(2025, 3, 1), "1 day", date(2025, 2, 28)),
        (date(2025, 1, 15), "1 month", date(2024, 12, 15)),
        (date(2024, 2, 29), "1 year", date(2023, 2, 28)),
        (date(2025, 1, 1), "99999 years", date.min),
    ],
)
def test_a_length_of_time_counts_by_the_calendar(day, length, before):
    assert periods.day_before(day, length) == before


@pytest.mark.parametrize(
    ("period", "last"),
    [("2025Q1", date(2025, 3, 31)), ("2025Q4", date(2025, 12, 31)), ("2024-02", date(2024, 2, 29))],
)
def test_the_last_day_of_a_period(period, last):
    assert periods.last_day(period) == last
    assert periods.period_of(last, periods.kind_of(period)) == period


@pytest.mark.parametrize("text", ["2025Q5", "2025-13", "2025", "2025Q33", "25Q1"])
def test_what_is_no_period_is_told(text):
    assert periods.kind_of(text) is None
    with pytest.raises(ValueError):
        periods.last_day(text)


def test_a_copy_is_never_kept_longer_than_readings_are():
    today = date(2025, 7, 1)
    assert Retention(files="3 years", readings="1 year").files_until(today) == date(2024, 7, 1)
    assert Retention(files="6 months", readings="1 year").files_until(today) == date(2025, 1, 1)
    assert Retention().files_until(today) is None and Retention().first_period(today, "quarter") is None
