"""Clocks that go back, between runs and within one."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import nights
import pytest
import soundness

from pipeline import running
from pipeline.faults import Fault, SettingsFault
from pipeline.store import Store

NOW = datetime.now()
DAY = date(2025, 7, 10)


def run(folder, started_at, *, as_of=DAY, is_day_given=False):
    return running.run(
        folder,
        as_of=as_of,
        started_at=started_at,
        on_step=lambda *_: None,
        progress=lambda *_: None,
        is_day_given=is_day_given,
    )


@pytest.mark.parametrize(("back", "goes"), [(timedelta(hours=23), True), (timedelta(hours=25), False)])
def test_a_clock_that_went_back_by_more_than_a_day_stops_a_run_before_anything_changes(programme, back, goes):
    before = soundness.contents(programme)
    nights.later_arrivals(programme)
    if goes:
        assert run(programme, NOW - back).intake.files_accepted == 1
        return
    with pytest.raises(Fault, match="clock went back") as caught:
        run(programme, NOW - back)
    assert "--as-of" in caught.value.next and soundness.contents(programme) == before
    assert run(programme, NOW - back, is_day_given=True).intake.files_accepted == 1


def test_a_day_before_the_last_readings_stops_a_run_before_anything_changes(programme):
    before = soundness.contents(programme)
    with pytest.raises(SettingsFault, match="day before the readings"):
        run(programme, NOW, as_of=date(2025, 5, 9))
    assert soundness.contents(programme) == before
    assert run(programme, NOW, as_of=date(2025, 5, 10)).published


@pytest.mark.parametrize(("ahead", "goes"), [(timedelta(days=99), True), (timedelta(days=101), False)])
def test_a_clock_far_ahead_lets_nothing_go(programme, ahead, goes):
    """The last run is the witness; the days kept do not matter, since a wrong clock knows no bounds."""
    settings = programme / "programme.toml"
    settings.write_text(settings.read_text() + '\n[retention]\nreadings = "4000 days"\n')
    before = soundness.contents(programme)
    if goes:
        assert run(programme, NOW + ahead).published
        return
    for _ in range(2):  # night after night
        with pytest.raises(Fault, match="clock far ahead") as caught:
            run(programme, NOW + ahead)
        assert "--as-of" in caught.value.next and soundness.contents(programme) == before
    assert run(programme, NOW + ahead, is_day_given=True).published


def test_a_pause_stops_no_run_that_would_let_nothing_go(programme):
    assert run(programme, NOW + timedelta(days=3000)).published


def test_files_whose_times_lie_before_those_of_earlier_files_change_nothing(programme, tmp_path):
    """Neither a file's own time nor the order of moments decides anything: the order of receipt does."""
    import os
    import shutil

    twin = tmp_path / "twin"
    shutil.copytree(programme, twin, symlinks=True)
    for folder, started_at in ((programme, NOW - timedelta(hours=20)), (twin, NOW)):
        nights.corrections(folder)
        if folder == programme:
            for n, path in enumerate(sorted((folder / "inbox").rglob("b.csv"))):
                os.utime(path, (1000 + n, 1000 + n))
        run(folder, started_at)
    assert soundness.contents(programme) == soundness.contents(twin)


def test_a_run_never_ends_before_it_began(programme):
    run(programme, NOW + timedelta(hours=3))
    with Store.open(programme / "store" / "evenbeam.duckdb", read_only=True) as store:
        assert store.value("select count(*) from ledger.run where finished_at < started_at") == 0
