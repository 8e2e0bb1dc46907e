"""`evenbeam init`: a first programme to fill in."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

from pipeline.commands.telling import typed_command

SENTENCE = "Write a first programme: settings, one site's profile and an inbox."
EXAMPLE = "evenbeam init my-programme"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="a new folder")
    parser.add_argument("--name", default="My programme", help="the programme's name, as pages show it")


def does(options: argparse.Namespace) -> int:
    from pipeline.first_programme import write_first_programme

    written = write_first_programme(options.folder, name=options.name)
    for path in written:
        print(f"wrote {path}")
    print(
        f"\nPut a site's files in {options.folder / 'inbox' / 'first-site'}, then ask for a profile that fits them:"
    )
    profile = options.folder / "profiles" / "first-site.toml"
    inspecting = typed_command("inspect", options.folder / "inbox" / "first-site" / "FILE")
    print(f"run  {inspecting} > {shlex.quote(str(profile))}")
    return 0
