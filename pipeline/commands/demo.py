"""`evenbeam demo`: a programme of invented people, generated and run."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

from pipeline.commands.option_types import add_as_of, count
from pipeline.commands.telling import run_and_tell, typed_command
from pipeline.faults import SettingsFault

SENTENCE = "Generate the demo programme of invented people, run it and say which page to open."
EXAMPLE = "evenbeam demo"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder", nargs="?", type=Path, default=Path("demo"), help="where to put it (default: demo)"
    )
    parser.add_argument(
        "--readings",
        type=count,
        default=60_000,
        metavar="N",
        help="about how many readings (default: 60000)",
    )
    parser.add_argument("--sites", type=count, default=24, metavar="N", help="how many sites (default: 24)")
    parser.add_argument(
        "--seed", type=int, default=20250101, metavar="N", help="the same seed gives the same programme"
    )
    add_as_of(parser)


def does(options: argparse.Namespace) -> int:
    from pipeline.terminal import Terminal
    from synthetic_cohort.generate import generate

    folder: Path = options.folder
    if folder.exists() and any(folder.iterdir()) and not (folder / "truth").is_dir():
        raise SettingsFault(
            "folder not empty",
            where=str(folder),
            expected="a new folder, or an earlier demo",
            next="name another folder: evenbeam demo FOLDER",
        )
    terminal = Terminal()
    if (folder / "programme.toml").exists():
        terminal.step(0, 0, f"Using the demo programme that is in {folder}; for another, name a new folder")
    else:
        terminal.step(0, 0, f"Generating the demo programme in {folder} (invented people, seeded)")
        generate(
            folder,
            readings=options.readings,
            sites=options.sites,
            seed=options.seed,
            progress=terminal.progress,
        )
        terminal.finish()
    outcome = run_and_tell(folder / "programme.toml", options.as_of or date(2026, 1, 15), terminal)
    print(
        "\nEvery person in it is invented, and the faults above were planted: demo files are like real ones."
    )
    print(f"look round  {typed_command('status', folder)}")
    # That faulty files were held is the demo's success, so it ends with 0.
    print(f"open {outcome.published / 'index.html'}")
    return 0
