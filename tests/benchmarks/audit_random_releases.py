"""A thousand random releases through the audit: none unsound after suppression, every planted breach found; and by how
much intervals over real numbers overstate those over whole numbers.

Run   python tests/benchmarks/audit_random_releases.py [releases] [whole] [file]     (make bench runs 1000 and 60)
Out   tests/benchmarks/results/audit.md, and the same on the terminal.

With a file, what was found of each release is kept there, and a run that was stopped goes on where it was; what an
older version of the suppressor or the audit found is not taken over.
"""

from __future__ import annotations

import hashlib
import json
import sys
import time
from pathlib import Path

import polars as pl

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "audit")]

from random_releases import RULES, release  # noqa: E402

from pipeline.audit import audit_tables  # noqa: E402
from pipeline.audit.whole_numbers import whole_intervals  # noqa: E402

RESULT = Path(__file__).parent / "results" / "audit.md"


def main(releases: int, whole: int, kept: Path | None = None) -> None:
    lines = [
        "# The audit on random releases",
        "",
        "Two to four sites, two sexes, one to three age groups, one banding of two to six bands, 0 to 40 people in "
        "each cell; made by `tests/audit/random_releases.py`, seeds from 0. All people are invented.",
        "",
        *_proved(releases, kept),
        "",
        *_over_whole_numbers(whole),
    ]
    RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


def _judged(seed: int) -> dict:
    """What the audit finds of one release, as published and with a breach planted in it."""
    begun = time.process_time()
    made = release(seed)
    audit = audit_tables(made.truth, made.published, RULES)
    is_planted = made.planted is not None
    is_found = is_planted and _finds(audit_tables(made.truth, made.planted, RULES).breaches, made.target)
    return {
        "seed": seed,
        "verdicts": dict(audit.cells.group_by("verdict").len().sort("verdict").iter_rows()),
        "unprotected": audit.breaches.height,
        "planted": is_planted,
        "found": is_found,
        "seconds": time.process_time() - begun,
    }


def _judged_or_known(releases: int, kept: Path | None) -> list[dict]:
    sources = sorted([*ROOT.glob("pipeline/audit/*.py"), *ROOT.glob("pipeline/disclosure/*.py")])
    version = hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()
    lines = kept.read_text(encoding="utf-8").splitlines() if kept and kept.exists() else []
    known = {one["seed"]: one for one in map(json.loads, lines) if one["version"] == version}
    for seed in range(releases):
        if seed not in known:
            known[seed] = _judged(seed) | {"version": version}
            if kept:
                with kept.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(known[seed]) + "\n")
    return [known[seed] for seed in range(releases)]


def _proved(releases: int, kept: Path | None) -> list[str]:
    every = _judged_or_known(releases, kept)
    verdicts: dict[str, int] = {}
    for one in every:
        for verdict, n in one["verdicts"].items():
            verdicts[verdict] = verdicts.get(verdict, 0) + n
    unsound = [one for one in every if one["unprotected"]]
    planted, found = sum(one["planted"] for one in every), sum(one["found"] for one in every)
    named = ", ".join(f"{verdict} {n}" for verdict, n in sorted(verdicts.items()))
    return [
        "| | |",
        "|---|---|",
        f"| releases | {releases} |",
        f"| sensitive counts | {sum(verdicts.values())} ({named}) |",
        f"| releases with an unprotected count after suppression | {len(unsound)} |",
        f"| unprotected counts | {sum(one['unprotected'] for one in unsound)} |",
        f"| breaches planted, one a release that withholds something small of a group large enough | {planted} |",
        f"| of these found, and missed | {found}, {planted - found} |",
        f"| processor time with suppression | {sum(one['seconds'] for one in every):.0f} s |",
        *([f"\nSeeds of the unsound: {', '.join(str(one['seed']) for one in unsound[:40])}."] if unsound else []),
    ]


def _finds(breaches: pl.DataFrame, target: dict) -> bool:
    hit = breaches.filter(
        pl.col("verdict") != "rest", band=target["band"], site=target["site"] or "", sex=target["sex"],
        age_from=target["age_from"], age_to=target["age_to"],
    )  # fmt: skip
    return hit["verdict"].to_list() == ["narrow"]


def _over_whole_numbers(releases: int) -> list[str]:
    parts = []
    for seed in range(releases):
        made = release(seed)
        parts.append(whole_intervals(made.truth, made.published, RULES, most=12))
    found = pl.concat(parts).with_columns(
        lost=(pl.col("high") - pl.col("low")) - (pl.col("whole_high") - pl.col("whole_low")),
        is_short=(pl.col("whole_high") - pl.col("whole_low")) < pl.col("width").floor() - 1e-6,
    )
    return [
        f"By whole numbers, the first twelve sensitive counts of each of {releases} releases: {found.height} counts. "
        f"{found.filter(pl.col('lost') > 1e-6).height} have a narrower interval over whole numbers than over real "
        f"ones, by {found['lost'].max():.2f} at most; {found['is_short'].sum()} of them then miss the required width, "
        "rounded down to whole people.",
    ]


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:3]]
    main(*given, *(1000, 60)[len(given) :], *map(Path, sys.argv[3:4]))
