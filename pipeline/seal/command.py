"""`evenbeam seal`, and the same on its own at a site: `python3 evenbeam-seal.pyz`.

Needs Python 3.11 and nothing else for CSV, TSV and NDJSON; the one file also carries openpyxl for Excel.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path

from pipeline import __version__
from pipeline.faults import Fault, FileHeld, SettingsFault, printable
from pipeline.seal.key_file import key_of, make_key_file, read_key_file
from pipeline.seal.profile import SealProfile, read_seal_profile
from pipeline.seal.rows import rows_of
from pipeline.seal.sealed_file import sealed_path, write_csv, written_once
from pipeline.seal.sealed_profile import (
    key_mark,
    require_same_seal,
    sealed_profile_path,
    sealed_profile_text,
    write_sealed_profile,
)
from pipeline.seal.sealing import Changes, Sealing

KEY_VARIABLE = "EVENBEAM_SEAL_KEY"
SENTENCE = "Seal a site's file before it is sent: no names, no dates of birth, pseudonyms for member numbers."
EXAMPLE = "evenbeam seal export.csv --profile my-site.toml --key-file seal.key"
_KEY = "sealing key"
_SHOWN_DROPPED = 12


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "files", nargs="*", type=Path, metavar="FILE", help="CSV, TSV, XLSX, NDJSON or Parquet, as exported"
    )
    parser.add_argument(
        "--profile", type=Path, metavar="PROFILE.toml", help="the site's profile of such files"
    )
    parser.add_argument(
        "--key-file",
        type=Path,
        metavar="FILE",
        help=f"the site's key, readable by this user alone (or give the key in the variable {KEY_VARIABLE})",
    )
    parser.add_argument(
        "--into", type=Path, metavar="FOLDER", help="where the sealed file goes (default: beside the file)"
    )
    parser.add_argument(
        "--make-key", type=Path, metavar="FILE", help="make a new key in this file, once, and nothing else"
    )


def does(options: argparse.Namespace) -> int:
    """Seal each file; a fault of one leaves the others.

    Errors   Fault of the key, the profile or the folder: then nothing is written.
    """
    if options.make_key:
        return _make_key(options.make_key)
    if not options.files or not options.profile:
        raise SettingsFault(
            "what to seal?",
            expected="at least one file, and --profile PROFILE.toml",
            next=f"for example: {EXAMPLE}",
        )
    if options.into and not options.into.is_dir():
        raise SettingsFault(
            "no such folder", where=str(options.into), expected="a folder", next="check --into"
        )
    key = _key(options.key_file)
    profile = read_seal_profile(options.profile)
    text = sealed_profile_text(profile, key)
    is_there = require_same_seal(profile, text)
    failed = 0
    for path in options.files:
        try:
            final, changes = seal_file(
                path, profile, key, as_of=date.today(), into=options.into, progress=_progress
            )
        except Fault as fault:
            print(fault, file=sys.stderr)
            failed += 1
            if fault.what == "already sealed" and not is_there:  # a sealing that was cut off before its profile
                is_there = _write_profile(profile, text)
            continue
        _show(path, final, profile, changes)
        if not is_there:
            is_there = _write_profile(profile, text)
    print(f"key     {key_mark(key)} (its mark, which tells keys apart and nothing of the key)")
    if failed < len(options.files):
        print(
            "next: send the sealed file, the first time with the sealed profile; keep the original and the key here"
        )
    return 1 if failed else 0


def _write_profile(profile: SealProfile, text: str) -> bool:
    write_sealed_profile(profile, text)
    print(f"wrote   {printable(sealed_profile_path(profile), 300)}, the profile that reads sealed files")
    return True


def seal_file(
    path: Path,
    profile: SealProfile,
    key: bytes,
    *,
    as_of: date,
    into: Path | None = None,
    progress: Callable[[int], None] = lambda rows: None,
) -> tuple[Path, Changes]:
    """Write the sealed file of `path`; returns its path and what was changed.

    Errors   Fault, and then no sealed file: there is one already, the file cannot be read with this profile, or
             analysers' names look like people's.
    """
    try:
        final = sealed_path(path, into)
        with rows_of(path, profile) as rows:
            sealing = Sealing(rows, profile, key, where=printable(path.name))
            with written_once(final) as text:
                write_csv(text, profile.sealed_fields, sealing, progress)
                sealing.require_harmless_texts(as_of)
    except FileHeld as held:  # in the words of intake, which has an inbox and a run
        held.what = "not sealed"
        raise
    except OSError as error:
        raise Fault(
            "not sealed",
            where=printable(error.filename or path, 300),
            found=error.strerror or "no access",
            expected="a file that can be read, and a folder that can be written to",
            next="mend that and seal again; nothing half-done is kept",
        ) from error
    return final, sealing.changes


def _key(path: Path | None) -> bytes:
    given = os.environ.get(KEY_VARIABLE)
    if given and path:
        raise SettingsFault(
            "two keys", found=f"--key-file and {KEY_VARIABLE}", expected="one of them", next="take one away"
        )
    if given:
        return key_of(given.encode(), SettingsFault, purpose=_KEY, where=KEY_VARIABLE)
    if path is None:
        raise SettingsFault(
            "no key",
            expected=f"--key-file FILE, or the key in the variable {KEY_VARIABLE}",
            next="make one, once: evenbeam seal --make-key seal.key. It is never given on the command line",
        )
    try:
        return read_key_file(path, SettingsFault, purpose=_KEY)
    except FileNotFoundError as error:
        raise SettingsFault(
            "no key",
            where=str(path),
            found="no such file",
            expected="the site's key",
            next="put it back from its backup; only for a site's first file make one: evenbeam seal --make-key",
        ) from error


def _make_key(path: Path) -> int:
    try:
        key = make_key_file(path)
    except FileExistsError as error:
        raise SettingsFault(
            "key already there",
            where=str(path),
            expected="no file of that name: a key is never replaced",
            next="use it as it is, or name another file",
        ) from error
    print(f"wrote {path}, key {key_mark(key)}, readable by this user alone")
    print("next: keep a copy where only the site's own people get at it (docs/sealing.md); never send it")
    return 0


def _show(path: Path, final: Path, profile: SealProfile, changes: Changes) -> None:
    """What was changed: counts and headers, never a value."""
    print(f"sealed  {printable(path, 300)} -> {printable(final, 300)}")
    print(
        f"        rows: {changes.rows + changes.left_out} read = {changes.rows} sealed + {changes.left_out} left out"
    )
    if changes.left_out:
        print(f"        left out: other fields than the header's, first in line {changes.first_left_out}")
    print(f"        pseudonyms made: {changes.people}, one a member number")
    if profile.birth:
        unit = "months under 20, whole years from then on" if profile.is_age_in_months else "whole years"
        print(
            f"        ages made of dates of birth: {changes.ages} ({unit}); not made: {changes.without_age}"
        )
    shown = ", ".join(changes.dropped[:_SHOWN_DROPPED])
    more = (
        f" and {len(changes.dropped) - _SHOWN_DROPPED} more" if len(changes.dropped) > _SHOWN_DROPPED else ""
    )
    print(f"        columns kept: {len(profile.sealed_fields)}; dropped: {len(changes.dropped)}", end="")
    print(f": {shown}{more}" if shown else "")
    if changes.emptied:
        cells = ", ".join(f"{field} {n}" for field, n in sorted(changes.emptied.items()))
        print(f"        cells emptied, since they are no such value: {cells}")
    if any(part.name == "inbox" for part in path.resolve().parents):
        print("careful the original lies in an inbox: take it out, it says who people are")


def _progress(rows: int) -> None:
    if rows % 100_000 == 0:
        print(f"        {rows:,} rows …", file=sys.stderr, flush=True)


def main(arguments: list[str] | None = None) -> int:
    """The command on its own."""
    parser = argparse.ArgumentParser(
        prog="evenbeam-seal",
        description=SENTENCE,
        epilog="example: " + EXAMPLE.replace("evenbeam seal", "evenbeam-seal"),
    )
    parser.add_argument("--version", action="version", version=f"evenbeam {__version__}")
    add_options(parser)
    try:
        return does(parser.parse_args(arguments))
    except Fault as fault:
        print(fault, file=sys.stderr)
        return fault.exit_code
    except KeyboardInterrupt:
        print("stopped; nothing half-done is kept.", file=sys.stderr)
        return 1
