"""Every command that writes, cut off by SIGKILL at its places and at random moments: nothing lost, nothing twice.

Run   python tests/benchmarks/killed_runs.py [places a night] [random kills] [sealings]     (make bench: 20, 40 and 12)
Out   tests/benchmarks/results/killed_runs.md, and the same on the terminal.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "faults")]

import nights  # noqa: E402
from kills import Kill, campaign, sealings  # noqa: E402

RESULT = Path(__file__).parent / "results" / "killed_runs.md"
SEED = 20261125


def main(places: int, moments: int, sealing: int) -> int:
    nights.ready()
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as base:
        kills = list(sealings(Path(base), random.Random(SEED), sealing))
        workers = int(os.environ.get("WORKERS", os.cpu_count() or 1))
        kills += campaign(Path(base), seed=SEED, at_places=places, at_random=moments, workers=workers)
        nights.delete(Path(base))
        Path(base).mkdir(exist_ok=True)
    page = page_of(kills, time.monotonic() - began)
    RESULT.write_text(page, encoding="utf-8")
    print(page)
    return any(kill.wrong for kill in kills)


def page_of(kills: list[Kill], seconds: float) -> str:
    wrong = [kill for kill in kills if kill.wrong]
    lines = [
        "# Runs that are killed",
        "",
        f"{len(kills)} kills with SIGKILL over a small programme of invented people (tests/faults/nights.py), seed "
        f"{SEED}, {seconds / 60:.0f} minutes; pages, curves and comparisons of sites left out. **{len(wrong)} with a "
        "finding.**",
        "",
        "A place is right before a file or folder changes, a file of SQL, or a commit, and right after a commit; "
        "random moments fall inside the database's own writing too. After each kill `published/latest` is the release "
        "before or the one after, whole by the digest in its name and valid by its own description, and every frozen "
        "release verifies. The command given again ends well, or says that it was done already. Then every table of "
        "the store equals that of a twin who was not disturbed (runs' numbers and times apart), each file's rows add "
        "up, no reading is there twice, each accepted file has one whole copy, the archive's list says what the store "
        "says, what is published and frozen has the twin's bytes, and nothing half-done lies about.",
        "",
        "| command | at a place | at a random moment | with a finding |",
        "|---|---:|---:|---:|",
    ]
    for night in dict.fromkeys(kill.night for kill in kills):
        of = [kill for kill in kills if kill.night == night]
        at_random = sum(kill.place == "any moment" for kill in of)
        lines.append(f"| {night} | {len(of) - at_random} | {at_random} | {sum(bool(one.wrong) for one in of)} |")
    lines += ["", "| place | kills |", "|---|---:|"]
    watched = ("sql", "os.", "open")
    places = Counter(
        kill.place.split(" ")[0] if kill.place.startswith(watched) else kill.place for kill in kills
    )
    lines += [f"| {WORDS.get(place, place)} | {n} |" for place, n in sorted(places.items())]
    lines += [f"- {kill.night}, {kill.place}: {'; '.join(kill.wrong)}" for kill in wrong]
    return "\n".join(lines) + "\n"


WORDS = {
    "open": "before a file is opened to be written",
    "sql": "before a file of SQL",
    "os.rename": "before a rename",
    "os.remove": "before a file is deleted",
    "os.mkdir": "before a folder is made",
    "os.rmdir": "before a folder is deleted",
    "os.symlink": "before a link is made",
    "os.link": "before a file gets its name",
    "os.chmod": "before a file is made read-only",
}

if __name__ == "__main__":
    given = [int(one) for one in sys.argv[1:]]
    sys.exit(main(*(given + [20, 40, 12][len(given) :])))
