"""Every command answers for itself: help, an example that parses, a line in the documents, clear errors."""

from __future__ import annotations

import argparse
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.cli import build_parser, main

ROOT = Path(__file__).parents[2]


def commands() -> dict[str, argparse.ArgumentParser]:
    actions = [action for action in build_parser()._actions if isinstance(action, argparse._SubParsersAction)]
    return actions[0].choices


@pytest.mark.parametrize("name", commands())
def test_a_command_has_help_and_an_example_that_parses(name):
    parser = commands()[name]
    assert parser.description.endswith(".")
    example = parser.epilog.removeprefix("example: ").split(" > ")[0]
    program, *arguments = shlex.split(example)
    assert program == "evenbeam" and arguments[0] == name
    assert build_parser().parse_args(arguments).command is not None


@pytest.mark.parametrize("name", commands())
def test_every_option_says_what_it_is_for(name):
    assert [action.dest for action in commands()[name]._actions if not action.help] == []


@pytest.mark.parametrize("name", commands())
def test_a_command_stands_in_the_readme(name):
    assert f"evenbeam {name}" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_help_answers_without_loading_the_engine():
    code = (
        "import sys\nfrom pipeline.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print(sorted({'duckdb', 'polars', 'altair', 'prefect', 'sklearn', 'scipy', 'numpy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(
    "arguments",
    [
        ["run"],
        ["frobnicate"],
        ["run", "p.toml", "--as-of", "31/03/2025"],
        ["trace", "p.toml", "--ages", "20"],
    ],
)
def test_bad_usage_ends_with_2(arguments):
    with pytest.raises(SystemExit) as stop:
        main(arguments)
    assert stop.value.code == 2


def test_settings_that_are_not_there_end_with_2_and_say_so(tmp_path, capsys):
    assert main(["run", str(tmp_path / "programme.toml")]) == 2
    message = capsys.readouterr().err
    assert "no such file" in message and "programme.toml" in message and "next:" in message


def test_an_unknown_key_is_refused_with_the_nearest_known_one(tmp_path, capsys):
    assert main(["init", str(tmp_path / "p")]) == 0
    settings = tmp_path / "p" / "programme.toml"
    settings.write_text(settings.read_text().replace("minimum_count", "minimum_cont"))
    capsys.readouterr()
    assert main(["run", str(settings)]) == 2
    message = capsys.readouterr().err
    assert "disclosure.minimum_cont" in message and "did you mean minimum_count?" in message


def test_what_init_writes_runs_with_one_file(tmp_path, capsys):
    assert main(["init", str(tmp_path / "p"), "--name", 'A "quoted" programme']) == 0
    (tmp_path / "p" / "inbox" / "first-site" / "a.csv").write_text(
        "participant,measured_on,sex,age,height,weight\n7,2025-03-31,F,40,165,65.0\n"
    )
    assert main(["run", str(tmp_path / "p"), "--as-of", "2025-04-15"]) == 0
    assert main(["status", str(tmp_path / "p")]) == 0
    shown = capsys.readouterr().out
    assert 'A "quoted" programme' in shown and "first-site" in shown


def test_init_never_writes_into_a_folder_that_holds_something(tmp_path, capsys):
    (tmp_path / "mine.txt").write_text("mine")
    assert main(["init", str(tmp_path)]) == 2
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_status_of_an_unknown_site_offers_the_nearest(tmp_path, capsys):
    main(["init", str(tmp_path / "p")])
    assert main(["status", str(tmp_path / "p"), "--site", "frist-site"]) == 2
    assert "did you mean first-site?" in capsys.readouterr().err


@pytest.mark.parametrize("path", ["nowhere.csv", "."])
def test_inspecting_what_is_no_file_is_one_clear_message(tmp_path, capsys, path):
    assert main(["inspect", str(tmp_path / path)]) == 1
    assert "cannot be read" in capsys.readouterr().err
