"""How often intervals held the truth, as rows of a Markdown table that can be read back."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

RESULTS = Path(__file__).parent / "results"
SEED = 20260101
SHORT = (
    94.0  # percent: an interval is short when its coverage plus two simulation standard errors is under this
)
WIDE = 98.0  # and wide when its coverage less two standard errors is over this

_HEAD = (
    "interval",
    "setting",
    "replicates",
    "covers %",
    "± 2 SE",
    "truth below %",
    "truth above %",
    "verdict",
)


@dataclass(frozen=True)
class Row:
    """Shares in percent of intervals that hold the truth, that lie wholly above it (`below`) and below it (`above`)."""

    interval: str
    setting: str
    replicates: int
    covered: float
    error: float
    below: float
    above: float

    @property
    def verdict(self) -> str:
        if self.covered + 2 * self.error < SHORT:
            return "short"
        return "wide" if self.covered - 2 * self.error > WIDE else "holds"


def covering(interval: str, setting: str, low: ArrayLike, high: ArrayLike, truth: ArrayLike) -> Row:
    """Compare intervals with the truth; the standard error is over replicates, whose intervals go together.

    Shapes   low, high, truth: (replicates,) or (replicates, intervals), broadcast.
    Missing  an interval of which both limits are nan is not published and does not count; one limit alone is one
             side that is not bounded.
    """
    low, high, truth = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (low, high, truth)))
    low, high, truth = (a.reshape(a.shape[0], -1) for a in (low, high, truth))
    counts = ~(np.isnan(low) & np.isnan(high))
    below, above = counts & (truth < low), counts & (truth > high)
    kept = counts.any(axis=1)
    missed = (below | above)[kept].sum(axis=1) / counts[kept].sum(axis=1)
    of = 100 / counts.sum()
    return Row(
        interval,
        setting,
        int(kept.sum()),
        100 - of * (below.sum() + above.sum()),
        float(100 * missed.std(ddof=1) / np.sqrt(kept.sum())),
        of * below.sum(),
        of * above.sum(),
    )


def table(rows: Iterable[Row]) -> str:
    lines = [" | ".join(_HEAD), " | ".join(("---",) * 2 + ("---:",) * 5 + ("---",))]
    lines += [
        f"{row.interval} | {row.setting} | {row.replicates} | {row.covered:.1f} | {2 * row.error:.1f} | "
        f"{row.below:.1f} | {row.above:.1f} | {row.verdict}"
        for row in rows
    ]
    return "\n".join(f"| {line} |" for line in lines) + "\n"


def rows_in(page: str) -> list[dict[str, str]]:
    """Every row of a coverage table on a page, as written."""
    cells = [[cell.strip() for cell in line.strip("|").split(" | ")] for line in page.splitlines()]
    return [
        dict(zip(_HEAD, row, strict=True)) for row in cells if len(row) == len(_HEAD) and row[2].isdigit()
    ]


def write_page(name: str, title: str, how: str, tables: str, reading: str) -> None:
    """Print a page of results and keep it as results/<name>.md."""
    made = f"Made by `python tests/benchmarks/{name}.py`. {how}"
    text = "\n".join([f"# {title}", "", made, "", tables, reading.strip(), ""])
    print(text)
    (RESULTS / f"{name}.md").write_text(text, encoding="utf-8")


def timed(scenarios: Sequence[Any], simulate: Callable[[Any, np.random.Generator], Any]) -> list[Any]:
    """What `simulate` finds of each scenario, each with random numbers of its own; how long it took goes to stderr."""
    found = []
    for at, scenario in enumerate(scenarios):
        started = time.process_time()
        found.append(simulate(scenario, np.random.default_rng([SEED, at])))
        print(f"{time.process_time() - started:6.1f} s  {scenario.title}", file=sys.stderr)
    return found


def simulated(
    scenarios: Sequence[Any], simulate: Callable[[Any, np.random.Generator], list[Row]]
) -> list[Row]:
    """The rows of every scenario, one after the other."""
    return [row for rows in timed(scenarios, simulate) for row in rows]
