"""Which files have arrived: inbox/<site>/*, in a fixed order, and what lies there that is not one.

Nothing is opened and nothing is moved or deleted here; the inbox belongs to the senders.
"""

from __future__ import annotations

import os
from pathlib import Path

from pipeline.faults import Fault, nearest, printable
from pipeline.intake.arrival import LONGEST_NAME, Arrival, PassedOver, is_unfinished, pass_over
from pipeline.programme import Programme


def arrivals(programme: Programme) -> tuple[list[Arrival], list[PassedOver]]:
    """The files to read, by site and name, and everything that was passed over."""
    found: list[Arrival] = []
    passed_over: list[PassedOver] = []
    if not programme.inbox.is_dir():
        if programme.settings.source:  # files come from there
            return found, passed_over
        fault = Fault(
            "no inbox",
            where=printable(programme.inbox, LONGEST_NAME),
            next="make the folder, with one folder a site in it",
        )
        return found, [PassedOver(str(fault), False)]
    for entry in sorted(programme.inbox.iterdir(), key=lambda path: path.name):
        if entry.is_symlink():
            passed_over.append(pass_over(f"inbox/{entry.name}", "a symbolic link", "put the folder itself there"))
        elif entry.is_dir():
            if entry.name in programme.sites:
                _files_of(entry.name, str(entry), found, passed_over)
            elif any(entry.iterdir()):
                passed_over.append(
                    pass_over(
                        f"inbox/{entry.name}/",
                        f"no site {printable(entry.name)}{nearest(entry.name, programme.sites)}",
                        "rename the folder, or add the site to the programme's settings",
                    )
                )
        elif not entry.name.startswith("."):
            passed_over.append(
                pass_over(
                    f"inbox/{entry.name}",
                    "a file outside the sites' folders",
                    "move it into the folder of its site",
                )
            )
    return found, passed_over


def _files_of(
    site: str,
    folder: str,
    found: list[Arrival],
    passed_over: list[PassedOver],
    below: str = "",
    is_hidden: bool = False,
) -> None:
    """Files of a folder and of the folders in it, by name; below: the folder's own name within the site's, with its /.

    Of a hidden folder, which has a line of its own, only links are told.
    """
    for entry in _entries(folder):
        name = f"{below}{entry.name}"
        where = f"inbox/{site}/{name}"
        if entry.is_symlink():
            passed_over.append(pass_over(where, "a symbolic link", "put the file itself there"))
        elif entry.is_dir():
            if entry.name.startswith(".") and not is_hidden:
                next_step = "nothing, unless readings are in it"
                passed_over.append(pass_over(where, "a hidden folder", next_step, is_misplaced=False))
            is_in_hidden = is_hidden or entry.name.startswith(".")
            _files_of(site, entry.path, found, passed_over, f"{name}/", is_in_hidden)
        elif is_hidden:
            continue
        elif is_unfinished(entry.name):
            passed_over.append(
                pass_over(
                    where,
                    "a hidden, temporary or unfinished file",
                    "nothing: it is read once it has its final name",
                    is_misplaced=False,
                )
            )
        elif not entry.is_file():
            passed_over.append(pass_over(where, "not a regular file", "remove it"))
        else:
            found.append(Arrival(site, Path(entry.path), _storable(name)))


def _entries(folder: str) -> list[os.DirEntry[str]]:
    """By name; none of a folder that is closed to us, or gone meanwhile."""
    try:
        with os.scandir(folder) as entries:
            return sorted(entries, key=lambda entry: entry.name)
    except (PermissionError, FileNotFoundError):
        return []


def _storable(name: str) -> str:
    """A name whose bytes are no UTF-8, as some systems allow, with those bytes written out: a\\udcff.csv."""
    return name.encode(errors="backslashreplace").decode()
