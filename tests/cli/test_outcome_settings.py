"""The settings of outcomes: what is refused, in what words, and what a run makes of a programme that has few."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from pipeline.cli import main
from pipeline.faults import SettingsFault
from pipeline.programme import Programme

PROFILE = "format = 'csv'\n[columns]\n" + "".join(
    f'{name} = {{ header = "{name}" }}\n'
    for name in ("participant", "measured_on", "sex", "age", "height", "weight")
)


@pytest.fixture
def read(tmp_path: Path):
    (tmp_path / "profile.toml").write_text(PROFILE)

    def run(outcomes: str = "", site: str = "") -> Programme:
        text = f'name = "Harbour"\n{outcomes}\n[[site]]\nid = "pier"\nname = "Pier"\nprofile = "profile.toml"\n{site}\n'
        (tmp_path / "programme.toml").write_text(text)
        return Programme.read(tmp_path / "programme.toml")

    return run


def test_follow_ups_are_three_six_and_twelve_months_unless_the_settings_say(read):
    windows = read().settings.outcomes.follow_up
    assert [(w.months, w.day, w.tolerance_days) for w in windows] == [
        (3, 91, 30),
        (6, 183, 45),
        (12, 365, 60),
    ]
    own = read("[[outcomes.follow_up]]\nmonths = 9\ntolerance_days = 20\n").settings.outcomes.follow_up
    assert [(w.months, w.day) for w in own] == [(9, 274)]


@pytest.mark.parametrize(
    ("outcomes", "said"),
    [
        ("[outcomes]\nimprovment = 'down'", "did you mean improvement?"),
        ("[outcomes]\nimprovement = 'less'", "'down' or 'up'"),
        ("[outcomes]\nsame_visit_hours = 0", "at least 1"),
        ("[outcomes.target]\nmonths = 9\nshare_losing_5_percent = 0.2", "at 9 months, and no follow-up is"),
        ("[outcomes.target]\nmonths = 12\nshare_losing_5_percent = 25", "less than 1"),
        (
            "[[outcomes.follow_up]]\nmonths = 3\ntolerance_days = 30\n"
            "[[outcomes.follow_up]]\nmonths = 4\ntolerance_days = 10",
            "3 and 4 months overlap",
        ),
        ("[[outcomes.follow_up]]\nmonths = 1\ntolerance_days = 30", "would begin before entry"),
        ("[[outcomes.follow_up]]\nmonths = 3\ntolerance = 30", "the key tolerance_days, which is required"),
    ],
)
def test_settings_that_cannot_be_are_refused_in_plain_words(read, outcomes, said):
    with pytest.raises(SettingsFault) as fault:
        read(outcomes)
    assert said in str(fault.value)


def test_windows_that_just_do_not_overlap_are_taken(read):
    text = (
        "[[outcomes.follow_up]]\nmonths = 3\ntolerance_days = {}\n"
        "[[outcomes.follow_up]]\nmonths = 4\ntolerance_days = 10\n"
    )
    assert len(read(text.format(20)).settings.outcomes.follow_up) == 2  # days 71 to 111, and 112 to 132
    with pytest.raises(SettingsFault):
        read(text.format(21))


def test_a_start_is_a_day(read):
    assert read(site="started = 2024-10-01").settings.site[0].started.isoformat() == "2024-10-01"
    with pytest.raises(SettingsFault) as fault:
        read(site='started = "last autumn"')
    assert "a day" in str(fault.value)


def test_a_run_with_a_handful_of_people_shows_nothing_of_them_and_says_so(read, tmp_path, capsys):
    read()
    inbox = tmp_path / "inbox" / "pier"
    inbox.mkdir(parents=True)
    rows = [f"p{i},2025-0{1 + 3 * v}-10,female,40,165,{80 - v}.0" for i in range(6) for v in range(3)]
    (inbox / "a.csv").write_text("participant,measured_on,sex,age,height,weight\n" + "\n".join(rows) + "\n")
    assert main(["run", str(tmp_path / "programme.toml"), "--as-of", "2026-01-01"]) == 0
    latest = tmp_path / "published" / "latest"
    for name in ("outcome", "retention", "transition", "outcome_site"):
        shown = pl.read_csv(latest / "data" / f"{name}.csv", infer_schema=False)
        assert shown["n"].is_null().all(), name
    page = (latest / "outcomes.html").read_text(encoding="utf-8")
    assert "is withheld or rests on too few people" in page and "not attributed" in page
