"""The `evenbeam` command: parse, call, turn a fault into an exit code.

Results go to stdout, progress to stderr; the last line says what to open or run next. Exit codes: 0 done,
1 a run failed, 2 bad usage or settings, 3 the run finished but held whole files.
Commands import heavy modules when they are called, so that `--help` answers at once.
"""

from __future__ import annotations

import argparse
import sys

from pipeline import __version__
from pipeline.commands import (
    demo,
    init,
    inspect,
    position,
    rebuild,
    release,
    report,
    run,
    schedule,
    status,
    trace,
    translate,
    verify,
    withdraw,
)
from pipeline.faults import Fault
from pipeline.seal import command as seal

# In the order of a programme's life, which is the order of `--help`.
COMMANDS = {
    "demo": demo,
    "init": init,
    "inspect": inspect,
    "seal": seal,
    "run": run,
    "release": release,
    "verify": verify,
    "withdraw": withdraw,
    "rebuild": rebuild,
    "schedule": schedule,
    "status": status,
    "report": report,
    "translate": translate,
    "trace": trace,
    "position": position,
}


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


def build_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="evenbeam",
        description="From sites' body-composition readings to percentiles, prevalence and pages that can be published.",
        epilog="A first look: evenbeam demo",
    )
    parser.add_argument("--version", action="version", version=f"evenbeam {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name, command in COMMANDS.items():
        sub = commands.add_parser(
            name, help=command.SENTENCE, description=command.SENTENCE, epilog=f"example: {command.EXAMPLE}"
        )
        sub.set_defaults(command=command.does)
        command.add_options(sub)
    return parser


if __name__ == "__main__":
    sys.exit(main())
