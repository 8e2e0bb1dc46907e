"""Whether any of a hundred thousand hostile inputs does more than be taken or be refused.

    python tests/benchmarks/hostile_input.py [--cases 100000] [--anew]

Every reader, `inspect`, `seal`, the whole of intake, profiles and settings get inputs that are broken at random or made
of the worst of each part (tests/hostile/hostile_cases.py). Each case has a number and is the same whenever it is made:
`--only 4711` makes one again and shows where it failed. Stopped half-way, the same command goes on where it was.
Writes tests/benchmarks/results/hostile_input.md.
"""

from __future__ import annotations

import argparse
import faulthandler
import json
import resource
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "hostile"))
from hostile_cases import case_of
from hostile_trial import MOST_SECONDS, Finding, Trial

RESULT = Path(__file__).parent / "results" / "hostile_input.md"
KEPT = Path(tempfile.gettempdir()) / "evenbeam-hostile-input.json"  # how far it came
SAVE_EVERY = 1000


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--anew", action="store_true", help="do not go on from a run that was stopped")
    parser.add_argument("--only", type=int, metavar="N", help="one case, with its traceback")
    options = parser.parse_args()
    faulthandler.enable()
    with tempfile.TemporaryDirectory() as folder:
        if options.only is not None:
            case = case_of(options.only)
            print(case.kind, case.door, case.content[:300], case.profile, sep="\n")
            print(Trial(Path(folder)).outcome(case))
            return 0
        if options.anew:
            KEPT.unlink(missing_ok=True)
        kept = (
            json.loads(KEPT.read_text())
            if KEPT.exists()
            else {"next": 0, "counts": {}, "findings": {}, "seconds": 0}
        )
        done = campaign(kept, options.cases, Path(folder))
    RESULT.write_text(page(done), encoding="utf-8")
    print(page(done))
    return 1 if done["findings"] else 0


def campaign(kept: dict, cases: int, folder: Path) -> dict:
    """Go on from `kept` to `cases`; what is known so far is saved as it goes."""
    trial, counts, begun = Trial(folder), Counter(kept["counts"]), time.process_time()
    before, peak = kept["seconds"], kept.get("peak", 0)
    for number in range(kept["next"], cases):
        faulthandler.dump_traceback_later(60 * MOST_SECONDS, exit=True)  # native code that no signal stops
        case = case_of(number)
        try:
            outcome = trial.outcome(case)
        except Finding as finding:
            outcome = "FINDING"
            kept["findings"][str(number)] = f"{case.kind}, {finding}"
            print(number, case.kind, finding, file=sys.stderr, flush=True)
        counts[f"{case.kind}|{case.door}|{outcome}"] += 1
        if (number + 1) % SAVE_EVERY == 0 or number + 1 == cases:
            peak = max(peak, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
            seconds = before + time.process_time() - begun
            kept |= {"next": number + 1, "counts": dict(counts), "seconds": seconds, "peak": peak}
            KEPT.write_text(json.dumps(kept))
            print(f"{number + 1:,} cases, {len(kept['findings'])} findings", file=sys.stderr, flush=True)
    faulthandler.cancel_dump_traceback_later()
    trial.close()
    return kept


def page(done: dict) -> str:
    counts = {tuple(key.split("|")): n for key, n in done["counts"].items()}
    by_door: dict[tuple[str, str], Counter] = {}
    for (kind, door, outcome), n in counts.items():
        by_door.setdefault((kind, door), Counter())[outcome] += n
    lines = [
        "# Hostile input",
        "",
        f"Made by `python tests/benchmarks/hostile_input.py --cases {done['next']}`: {done['next']:,} seeded cases, "
        "each at one door of the program. Allowed are acceptance with an account that adds up, and one clear message; "
        f"any other exception, a message that is none, or more than {MOST_SECONDS:g} s of processor time is a finding.",
        "",
        f"**{len(done['findings'])} findings.** {done['seconds'] / 60:.0f} minutes of processor time; at most "
        f"{done['peak']:.0f} MB of memory, beside the process that reads workbooks, which has a limit of its own.",
        "",
        "| format | door | cases | how they ended |",
        "| --- | --- | ---: | --- |",
    ]
    for (kind, door), outcomes in sorted(by_door.items()):
        shown = ", ".join(f"{outcome} {n:,}" for outcome, n in outcomes.most_common())
        lines.append(f"| {kind} | {door.replace('_', ' ')} | {sum(outcomes.values()):,} | {shown} |")
    if done["findings"]:
        lines += ["", "## Findings", ""]
        lines += [f"- case {number}: `{text}`" for number, text in list(done["findings"].items())[:50]]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
