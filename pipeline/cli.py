"""The `evenbeam` command: parse, call, print.

Results go to stdout, progress to stderr; the last line says what to open or run next. Exit codes: 0 done,
1 a run failed, 2 bad usage or settings, 3 the run finished but held whole files.
Heavy modules are imported by the command that needs them, so that `--help` answers at once.
"""

from __future__ import annotations

import argparse
import json
import math
import shlex
import shutil
import sys
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline import __version__
from pipeline.faults import Fault, SettingsFault, printable
from pipeline.seal import command as seal_command

if TYPE_CHECKING:
    from pipeline import flow
    from pipeline.removal.removing import Removed
    from pipeline.terminal import Terminal

_SHOWN_FILES = 20
_SHOWN_ROW_MESSAGES = 3


def main(arguments: list[str] | None = None) -> int:
    parser = build_parser()
    options = parser.parse_args(arguments)
    try:
        return options.command(options)
    except Fault as fault:
        print(fault, file=sys.stderr)
        return fault.exit_code
    except KeyboardInterrupt:
        print("stopped; nothing half-done is kept. Run the same command again to go on.", file=sys.stderr)
        return 1
    except BrokenPipeError:  # the reader, such as `head`, has enough
        sys.stderr.close()
        return 0
    except OSError as error:
        print(
            Fault(
                "cannot read or write",
                where=str(error.filename or ""),
                found=error.strerror or str(error),
                expected="room and permission there",
                next="mend that and run the same command again; what was published before stays published",
            ),
            file=sys.stderr,
        )
        return 1


# ---- commands ---------------------------------------------------------------------------------------------


def demo(options: argparse.Namespace) -> int:
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
    outcome = _run(folder / "programme.toml", options.as_of or date(2026, 1, 15), terminal)
    print(
        "\nEvery person in it is invented, and the faults above were planted: demo files are like real ones."
    )
    print(f"look round  {_command('status', folder)}")
    # That faulty files were held is the demo's success, so it ends with 0.
    print(f"open {outcome.published / 'index.html'}")
    return 0


def init(options: argparse.Namespace) -> int:
    from pipeline.first_programme import write_first_programme

    written = write_first_programme(options.folder, name=options.name)
    for path in written:
        print(f"wrote {path}")
    print(
        f"\nPut a site's files in {options.folder / 'inbox' / 'first-site'}, then ask for a profile that fits them:"
    )
    profile = options.folder / "profiles" / "first-site.toml"
    print(
        f"run  {_command('inspect', options.folder / 'inbox' / 'first-site' / 'FILE')} > {shlex.quote(str(profile))}"
    )
    return 0


def inspect(options: argparse.Namespace) -> int:
    from pipeline.intake.inspect import inspect_file

    inspection = inspect_file(options.file)
    print(inspection.profile_toml, end="" if inspection.profile_toml.endswith("\n") else "\n")
    for finding in inspection.direct_identifiers:
        print(f"stop  {finding}", file=sys.stderr)
    for reason in inspection.reasons:
        print(f"why   {reason}", file=sys.stderr)
    for question in inspection.undecided:
        print(f"open  {question}", file=sys.stderr)
    if inspection.undecided:
        print(
            "next: settle the open points in the profile, then run `evenbeam run PROGRAMME.toml`",
            file=sys.stderr,
        )
    else:
        print(
            "next: save this as the site's profile, then run `evenbeam run PROGRAMME.toml`", file=sys.stderr
        )
    return 0


def seal(options: argparse.Namespace) -> int:
    return seal_command.seal(options)


def run(options: argparse.Namespace) -> int:
    from pipeline.terminal import Terminal

    outcome = _run(options.programme, options.as_of, Terminal())
    print(f"open {outcome.published / 'index.html'}")
    return outcome.exit_code


def rebuild(options: argparse.Namespace) -> int:
    from pipeline.rebuilding import rebuild as build_again
    from pipeline.terminal import Terminal

    terminal = Terminal()
    done = build_again(
        options.programme,
        started_at=datetime.now(),
        on_step=terminal.step,
        progress=terminal.progress,
        is_check=options.check,
    )
    terminal.finish()
    _print_some(done.intake.messages, _SHOWN_FILES, "more files set aside")
    print(f"{done.files} files read again; {done.intake.rows_accepted} rows accepted")
    for one in done.differences:
        print(
            f"differs  {one.table}: {one.only_before} rows only as it was, {one.only_rebuilt} only as rebuilt"
        )
    if done.why_from_list:
        print(f"{done.why_from_list}: the archive's own list said which files there are, and nothing could be compared")
    elif not done.differences:
        print(f"the same in all {done.tables} tables of readings, tallies and results")
    elif not options.check:
        print("profiles, settings or the program changed since those files were read, or the store was damaged")
    if options.check:
        print("nothing was changed; without --check the rebuilt store takes the old one's place")
        return 1 if done.differences or done.why_from_list else 0
    print(f"run  {_command('run', options.programme)}")
    return 0


def schedule(options: argparse.Namespace) -> int:
    from pipeline.schedule import serve

    serve(options.programme, cron=options.cron, time_limit=options.time_limit * 60)
    return 0


def status(options: argparse.Namespace) -> int:
    from pipeline.status import read_status, show_status

    if options.page:
        from pipeline.feedback import write_history

        print(f"open {write_history(options.programme, as_of=options.as_of or date.today())}")
        return 0
    if options.held and not options.site:
        raise SettingsFault("which site?", expected="--held together with --site ID", next="name the site")
    found = read_status(
        options.programme,
        as_of=options.as_of or date.today(),
        held_rows_of=[options.site] if options.held else [],
    )
    if options.json:
        print(json.dumps(found, indent=1, sort_keys=True, default=str))
    else:
        show_status(found, site=options.site, held=options.held, runs=options.runs)
    return 0


def report(options: argparse.Namespace) -> int:
    from pipeline.feedback import write_feedback

    written = write_feedback(options.programme, [options.site] if options.site else [])
    for path in written:
        print(f"wrote {path}")
    print(
        "for each site alone: the pages name lines and values as received, so they are not for publication",
        file=sys.stderr,
    )
    print(f"open {written[0]}")
    return 0


def translate(options: argparse.Namespace) -> int:
    from pipeline.language import write_translations

    path, missing, texts = write_translations(options.programme, options.language)
    print(f"wrote {path}: {texts - missing} of {texts} texts translated")
    if missing:
        print("next: fill it in with an editor of PO files or of plain text; what is empty stands in English")
    print(f'set language = "{options.language}" in the settings, then run  {_command("run", options.programme)}')
    return 0


def release(options: argparse.Namespace) -> int:
    from pipeline.freezing import freeze
    from pipeline.terminal import Terminal

    terminal = Terminal()
    done = freeze(
        options.programme,
        options.period,
        why=options.why,
        keep_small_changes=options.keep_small_changes,
        before_its_end=options.before_its_end,
        as_of=options.as_of or date.today(),
        on_step=terminal.step,
        progress=terminal.progress,
    )
    terminal.finish()
    for remark in done.remarks:
        print(remark)
    if done.figures_changed is not None:
        print(f"{done.figures_changed} figures changed; data/restatement.csv names each, old and new")
    print(f"frozen  {done.folder}")
    print(
        f"sha256 of its manifest: {done.manifest_sha256}\n      note it somewhere else: it vouches for every file"
    )
    print(f"open {done.folder / 'index.html'}")
    return 0


def verify(options: argparse.Namespace) -> int:
    from pipeline.verifying import verify_all

    verdicts = verify_all(options.target, options.period)
    for verdict in verdicts:
        for fault in verdict.faults:
            print(printable(fault, 400))
        state = f"{len(verdict.faults)} faults" if verdict.faults else f"sound, {verdict.files} files"
        print(f"{verdict.folder}: {state}; manifest {verdict.manifest_sha256}")
    if any(not verdict.is_sound for verdict in verdicts):
        print(
            "next: put the folder back from a backup; figures that must change are a restatement, "
            "evenbeam release PROGRAMME.toml PERIOD --why TEXT",
            file=sys.stderr,
        )
        return 1
    return 0


def withdraw(options: argparse.Namespace) -> int:
    import getpass

    from pipeline.terminal import Terminal
    from pipeline.withdrawal import numbers_in, withdraw

    if options.source is not None:
        text = options.source.read_text(encoding="utf-8-sig")
    elif sys.stdin.isatty():
        text = getpass.getpass("Member number (not shown): ")
    else:
        text = sys.stdin.read()
    terminal = Terminal()
    done = withdraw(
        options.programme,
        numbers_in(text),
        site=options.site,
        in_advance=options.in_advance,
        as_of=options.as_of or date.today(),
        happened_at=datetime.now(),
        on_step=terminal.step,
        progress=terminal.progress,
    )
    terminal.finish()
    removed = done.removed
    print(
        f"removed {removed.rows_withdrawn} rows of {len(removed.files)} files, and the figures were rebuilt"
    )
    for name in done.waiting:
        print(f"note  {printable(name, 300)} still holds withdrawn rows; it belongs to its sender")
    if done.waiting:
        print(
            "      next: replace or delete these files, also at the site and in backups; a run takes no such row"
        )
    print("      releases already frozen keep their figures, which show nobody; see docs/releases.md")
    print(f"open {done.published / 'index.html'}")
    return 0


def trace(options: argparse.Namespace) -> int:
    from pipeline.trace import trace_prevalence

    rows = trace_prevalence(
        options.programme,
        banding=options.banding,
        band=options.band,
        period=options.period,
        sex=options.sex,
        ages=options.ages,
        site=options.site,
    )
    print("reading_id\tsite\tfile\tline\tmeasured_on")
    for row in rows:
        print("\t".join(printable(cell, 200) for cell in row))
    print(
        f"{len(rows)} readings stand behind this figure; for the programme's own analysts, not for publication",
        file=sys.stderr,
    )
    return 0


def position(options: argparse.Namespace) -> int:
    from pipeline.measures import MEASURES
    from pipeline.position import position as place

    rows = place(
        options.programme,
        measure=options.measure,
        sex=options.sex,
        age=options.age,
        value=options.value,
        percentile=options.percentile,
    )
    measure = MEASURES[options.measure]
    print(f"value ({measure.unit})\tz\tpercentile\treference")
    for reference, value, z, percentile in rows:
        cells = [(value, measure.decimals + 1), (z, 2)]
        shown = ["beyond" if number is None else f"{number:.{places}f}" for number, places in cells]
        print("\t".join([*shown, _percent(percentile), reference]))
    print(
        "where the people measured stand, not where anyone should; one reading is an estimate and no diagnosis"
        + (", and no target for a child" if options.age < 20 else ""),
        file=sys.stderr,
    )
    return 0


def _percent(percentile: float | None) -> str:
    """To a tenth, and never 0.0 or 100.0: somebody always lies beyond."""
    if percentile is None:
        return "beyond"
    if 0.1 <= percentile <= 99.9:
        return f"{percentile:.1f}"
    return "under 0.1" if percentile < 50 else "over 99.9"


def _run(path: Path, as_of: date | None, terminal: Terminal) -> flow.Outcome:
    from pipeline import flow

    outcome = flow.run(
        path,
        as_of=as_of or date.today(),
        started_at=datetime.now(),
        on_step=terminal.step,
        progress=terminal.progress,
        is_day_given=as_of is not None,
    )
    terminal.finish()
    _print_some(outcome.intake.messages, _SHOWN_FILES, "more files or folders set aside")
    _print_some(outcome.intake.row_messages, _SHOWN_ROW_MESSAGES, "more files with held rows")
    if outcome.intake.rows_held or len(outcome.intake.messages) > _SHOWN_FILES:
        print(f"every file and held row: {_command('status', path)} --site ID --held")
    _print_removed(outcome.removed)
    for remark in outcome.remarks:
        print(remark)
    print(outcome.intake.sentence())
    return outcome


def _print_removed(removed: Removed) -> None:
    """What left at the beginning of a run, past its time or withdrawn."""
    if removed.rows_expired:
        before = f" (periods before {removed.first_period})" if removed.first_period else ""
        print(f"removed  {removed.rows_expired} rows past [retention] readings{before}")
    if removed.rows_withdrawn:
        print(f"removed  {removed.rows_withdrawn} rows of people who withdrew, found in the store again")
    if removed.copies:
        print(f"removed  {removed.copies} kept copies of files past [retention]")


def _command(name: str, path: Path) -> str:
    """A command that can be typed as it is printed: also where evenbeam is not on the path, or a name has blanks."""
    program = "evenbeam" if shutil.which("evenbeam") else sys.argv[0]
    return f"{shlex.quote(program)} {name} {shlex.quote(str(path))}"


def _print_some(messages: list[str], most: int, rest: str) -> None:
    """The first few messages in full; a pile of files can have thousands, and the ledger keeps them all."""
    for message in messages[:most]:
        print(message)
    if len(messages) > most:
        print(f"      … and {len(messages) - most:,} {rest}")


# ---- options ----------------------------------------------------------------------------------------------


def build_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="evenbeam",
        description="From sites' body-composition readings to percentiles, prevalence and pages that can be published.",
        epilog="A first look: evenbeam demo",
    )
    parser.add_argument("--version", action="version", version=f"evenbeam {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def command(name: str, does, sentence: str, example: str) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, help=sentence, description=sentence, epilog=f"example: {example}")
        sub.set_defaults(command=does)
        return sub

    sub = command(
        "demo",
        demo,
        "Generate the demo programme of invented people, run it and say which page to open.",
        "evenbeam demo",
    )
    sub.add_argument(
        "folder", nargs="?", type=Path, default=Path("demo"), help="where to put it (default: demo)"
    )
    sub.add_argument(
        "--readings",
        type=_count,
        default=60_000,
        metavar="N",
        help="about how many readings (default: 60000)",
    )
    sub.add_argument("--sites", type=_count, default=24, metavar="N", help="how many sites (default: 24)")
    sub.add_argument(
        "--seed", type=int, default=20250101, metavar="N", help="the same seed gives the same programme"
    )
    _add_as_of(sub)

    sub = command(
        "init",
        init,
        "Write a first programme: settings, one site's profile and an inbox.",
        "evenbeam init my-programme",
    )
    sub.add_argument("folder", type=Path, help="a new folder")
    sub.add_argument("--name", default="My programme", help="the programme's name, as pages show it")

    sub = command(
        "inspect",
        inspect,
        "Read an unknown file and propose a site profile, with the reason for each guess.",
        "evenbeam inspect export.csv > profiles/my-site.toml",
    )
    sub.add_argument("file", type=Path, help="a CSV, TSV, XLSX, NDJSON, FHIR or Parquet file, gzip or not")

    seal_command.add_options(command("seal", seal, seal_command.SENTENCE, seal_command.EXAMPLE))

    sub = command(
        "run",
        run,
        "Read new files, compute everything and publish to published/latest.",
        "evenbeam run programme.toml",
    )
    _add_programme(sub)
    _add_as_of(sub)

    sub = command(
        "release",
        release,
        "Freeze a period under published/releases, for good; with --why, a later version beside the earlier ones.",
        "evenbeam release programme.toml 2025Q3",
    )
    _add_programme(sub)
    sub.add_argument("period", help="2025Q3 or 2025-07, as the programme's periods are")
    sub.add_argument(
        "--why",
        metavar="TEXT",
        help="the reason for a restatement, published with it: 'late files from north-quay'",
    )
    sub.add_argument(
        "--keep-small-changes",
        action="store_true",
        help="keep the earlier figure wherever the change could point to a few people",
    )
    sub.add_argument("--before-its-end", action="store_true", help="freeze a period that has not ended yet")
    _add_as_of(sub)

    sub = command(
        "verify",
        verify,
        "Check every file of a frozen release against its manifest, and its tables against their description.",
        "evenbeam verify published/releases/2025Q3",
    )
    sub.add_argument(
        "target",
        type=Path,
        metavar="FOLDER",
        help="a frozen folder, or a programme's settings for all of its releases",
    )
    sub.add_argument("period", nargs="?", help="with a programme: only this period's versions")

    sub = command(
        "withdraw",
        withdraw,
        "Remove a participant from store, kept files and results. The member number is read from standard input "
        "or a file, one a line, and never from the command line.",
        "evenbeam withdraw programme.toml --from number.txt",
    )
    _add_programme(sub)
    sub.add_argument(
        "--from",
        dest="source",
        type=Path,
        metavar="FILE",
        help="a file with the member number as the site writes it; without it, asked for or read from standard input",
    )
    sub.add_argument(
        "--site", metavar="ID", help="the site whose own number it is, where numbers are a site's own"
    )
    sub.add_argument(
        "--in-advance",
        action="store_true",
        help="keep the wish of somebody of whom no row is there yet",
    )
    _add_as_of(sub)

    sub = command(
        "rebuild",
        rebuild,
        "Build the store again from the kept files, compare it with the one as it is, and put it in its place.",
        "evenbeam rebuild programme.toml --check",
    )
    _add_programme(sub)
    sub.add_argument("--check", action="store_true", help="only compare: ends with 1 where they differ")

    sub = command(
        "schedule",
        schedule,
        "Run on a cron schedule against a Prefect server, until stopped.",
        "evenbeam schedule programme.toml --cron '0 3 * * *'",
    )
    _add_programme(sub)
    sub.add_argument(
        "--cron",
        default="0 3 * * *",
        metavar="FIELDS",
        help="when, as five cron fields in this machine's time (default: 0 3 * * *, every night at 03:00)",
    )
    sub.add_argument(
        "--time-limit",
        type=_count,
        default=360,
        metavar="MINUTES",
        help="stop a run that takes longer (default: 360)",
    )

    sub = command(
        "status",
        status,
        "Show the last run, each site's files and where every row went.",
        "evenbeam status programme.toml --site north-quay",
    )
    _add_programme(sub)
    sub.add_argument("--site", metavar="ID", help="one site, file by file")
    sub.add_argument("--held", action="store_true", help="with --site: every held row of that site, and why")
    sub.add_argument("--runs", action="store_true", help="every run, newest first, with what it received")
    sub.add_argument(
        "--page", action="store_true", help="write the history of runs as a page, reports/runs.html, and say where"
    )
    sub.add_argument("--json", action="store_true", help="the same as JSON, every file and run included")
    sub.add_argument(
        "--as-of", type=_day, metavar="DATE", help="which sites are late on this day (default: today)"
    )

    sub = command(
        "report",
        report,
        "Write each site a page on its own files: which lines to correct, and what became of the rest.",
        "evenbeam report programme.toml --site north-quay",
    )
    _add_programme(sub)
    sub.add_argument("--site", metavar="ID", help="one site (default: a page for each)")

    sub = command(
        "translate",
        translate,
        "Write the words of pages, report and workbook to be translated, or renew what is there.",
        "evenbeam translate programme.toml cy",
    )
    _add_programme(sub)
    sub.add_argument("language", type=_language, metavar="LANGUAGE", help="such as cy, de or pt-BR")

    sub = command(
        "trace",
        trace,
        "List the readings, files and lines behind one prevalence figure.",
        "evenbeam trace programme.toml --banding bmi_adult --band obesity_1 --period 2025Q3 --ages 20-99",
    )
    _add_programme(sub)
    sub.add_argument("--banding", required=True, help="as in the published table")
    sub.add_argument("--band", required=True, help="as in the published table")
    sub.add_argument("--period", required=True, help="2025Q3 or 2025-07")
    sub.add_argument(
        "--ages", type=_ages, required=True, metavar="FROM-TO", help="an age group, such as 20-29"
    )
    sub.add_argument(
        "--sex",
        choices=["female", "male", "all"],
        default="all",
        help="as in the published table (default: all)",
    )
    sub.add_argument("--site", metavar="ID", help="one site (default: all)")

    sub = command(
        "position",
        position,
        "Say where one value stands on the published curves, or which value stands at a percentile.",
        "evenbeam position programme.toml --measure bmi --sex female --age 34 --value 27.4",
    )
    _add_programme(sub)
    sub.add_argument("--measure", required=True, help="as in the published table")
    sub.add_argument("--sex", choices=["female", "male"], required=True, help="as in the published table")
    sub.add_argument("--age", type=_count, required=True, metavar="YEARS", help="in whole years")
    asked = sub.add_mutually_exclusive_group(required=True)
    asked.add_argument("--value", type=_finite, metavar="X", help="in the measure's unit: where does it stand?")
    asked.add_argument("--percentile", type=_percentile, metavar="P", help="between 0 and 100: which value is it?")
    return parser


def _add_programme(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "programme", type=Path, metavar="PROGRAMME.toml", help="the programme's settings, or their folder"
    )


def _add_as_of(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--as-of",
        type=_day,
        metavar="DATE",
        help="run as on this day, 2026-01-15: the same inputs and day give the same bytes",
    )


def _language(text: str) -> str:
    from babel import Locale, UnknownLocaleError

    try:
        return str(Locale.parse(text, sep="-")).replace("_", "-")
    except (ValueError, UnknownLocaleError) as error:
        raise argparse.ArgumentTypeError(f"expected a language such as cy, de or pt-BR; found {text}") from error


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(
            f"found {printable(text)}; expected a day such as 2026-01-15"
        ) from error


def _count(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"found {printable(text)}; expected a whole number from 1")
    return int(text)


def _number(text: str, expected: str, is_allowed) -> float:
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not is_allowed(number):
        raise argparse.ArgumentTypeError(f"found {printable(text)}; expected {expected}")
    return number


def _finite(text: str) -> float:
    return _number(text, "a number such as 27.4", math.isfinite)


def _percentile(text: str) -> float:
    return _number(text, "a number between 0 and 100, such as 90", lambda number: 0 < number < 100)


def _ages(text: str) -> tuple[int, int]:
    low, _, high = text.partition("-")
    if not (low.isdecimal() and high.isdecimal()) or int(low) > int(high):
        raise argparse.ArgumentTypeError(f"found {printable(text)}; expected ages such as 20-29")
    return int(low), int(high)


if __name__ == "__main__":
    sys.exit(main())
