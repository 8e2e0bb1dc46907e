"""The measurements of run_speed.py → their page."""

from __future__ import annotations

from itertools import pairwise

from run_speed import BESIDE, RUNS, TARGET_OF_FLOOR, TARGET_OF_MEMORY, TARGET_OF_NIGHT, TARGET_OF_START

PROFILE = "run_speed_profile.md"  # written by hand, beside this page


def page(records: dict) -> str:
    sizes = sorted(int(size) for size in records if size.isdigit())
    lines = ["# A run: time, memory, size", "", "Made by `python tests/benchmarks/run_speed.py`."]
    lines += [
        "Seconds of processor time, all threads together; ratios from one go. "
        f"A CSV file a site and quarter, 22 columns. [Where the time goes]({PROFILE}).",
        "",
    ]
    for size in sizes:
        lines += [*_table(size, records[str(size)]), ""]
    lines += [*_growth(sizes, records), "", *_steps(sizes, records), "", *_targets(sizes, records)]
    return "\n".join(lines) + "\n"


def _table(size: int, costs: dict) -> list[str]:
    floor = costs["floor"]["processor"]
    rows = [f"## {size:,} readings of {costs['floor']['sites']} sites", ""]
    rows += ["| what | s | processor s | over the floor | peak memory | store |", "| --- |" + " --- |" * 5]
    titles = [(name, title) for name, title, _ in BESIDE] + list(RUNS)
    for name, title in titles:
        if name not in costs:  # a line that came later than this size was measured
            continue
        cost = costs[name]
        store = _bytes(cost["store_bytes"]) if cost["store_bytes"] else ""
        rows.append(
            f"| {title} | {cost['seconds']:.1f} | {cost['processor']:.1f} | {cost['processor'] / floor:.1f} | "
            f"{_bytes(cost['peak_bytes'])} | {store} |"
        )
    return rows


def _growth(sizes: list[int], records: dict) -> list[str]:
    if len(sizes) < 2:
        return []
    rows = ["## Growth", "", "Processor time over that of the size before, at ten times the readings.", ""]
    rows += ["| readings | floor | Polars | pandas | first run | last 1 % |", "| --- | --- | --- | --- | --- | --- |"]
    for before, size in pairwise(sizes):
        costs, costs_before = records[str(size)], records[str(before)]
        ratios = [
            f"{costs[name]['processor'] / costs_before[name]['processor']:.1f}" if name in costs else ""
            for name in ("floor", "polars", "pandas", "first", "night")
        ]
        rows.append(f"| {size:,} | " + " | ".join(ratios) + " |")
    return rows


def _steps(sizes: list[int], records: dict) -> list[str]:
    rows = ["## Step by step", "", "Processor time in seconds, first run / last 1 % / what waited.", ""]
    titles = list(records[str(sizes[0])]["first"]["steps"])
    rows += ["| step | " + " | ".join(f"{size:,}" for size in sizes) + " |", "| --- |" + " --- |" * len(sizes)]
    for title in titles:
        cells = [
            " / ".join(f"{records[str(size)][run]['steps'][title]:.1f}" for run in ("first", "night", "waited"))
            for size in sizes
        ]
        rows.append(f"| {title} | " + " | ".join(cells) + " |")
    return rows


def _targets(sizes: list[int], records: dict) -> list[str]:
    size = max(size for size in sizes if "pandas" in records[str(size)])
    largest = records[str(size)]
    first, night = largest["first"], largest["night"]
    of_floor = first["processor"] / largest["floor"]["processor"]
    of_first = night["processor"] / first["processor"]
    of_first_whole = (night["processor"] + largest["waited"]["processor"]) / first["processor"]
    start = max(cost["processor"] for cost in records["start"].values())
    rows = [f"## Targets, at {size:,} readings where no other number stands", ""]
    rows += ["| target | found | met |", "| --- | --- | --- |"]
    for what, found, is_met in (
        (f"whole run within {TARGET_OF_FLOOR:g} × the floor", f"{of_floor:.1f} ×", of_floor <= TARGET_OF_FLOOR),
        ("whole run faster than the pandas script",
         f"{first['processor'] / largest['pandas']['processor']:.1f} ×",
         first["processor"] < largest["pandas"]["processor"]),
        *(_as_long_at_more(records[str(before)], records[str(size)]) for before in sizes if 10 * before == size),
        *(_within_memory(size, records[str(size)]) for size in sizes if size in TARGET_OF_MEMORY),
        (f"1 % more within {TARGET_OF_NIGHT:.0%} of the whole run", f"{of_first:.1%}", of_first <= TARGET_OF_NIGHT),
        ("… with what waited, published once more", f"{of_first_whole:.0%}", of_first_whole <= TARGET_OF_NIGHT),
        (f"a command starts within {TARGET_OF_START:g} s", f"{start:.2f} s", start <= TARGET_OF_START),
    ):  # fmt: skip
        rows.append(f"| {what} | {found} | {'yes' if is_met else 'no'} |")
    alone = largest["alone"]["processor"]
    rows += [
        "",
        "What the floor leaves out: DuckDB alone, without a check, an interval, protection or a page, takes "
        f"{alone / largest['floor']['processor']:.1f} × the floor for fewer counts and percentiles than a run makes; a "
        f"first run takes {first['processor'] / alone:.1f} times that.",
    ]
    return rows


def _as_long_at_more(before: dict, now: dict) -> tuple[str, str, bool]:
    """Figures are made of counts. What grows with readings are sites' own percentiles, and people's changes."""
    after, at_a_tenth = (sum(list(costs["first"]["steps"].values())[-2:]) for costs in (now, before))
    ratio = after / at_a_tenth
    return "results and publishing as long at a tenth of the readings", f"{ratio:.1f} ×", ratio <= 1.1


def _within_memory(size: int, costs: dict) -> tuple[str, str, bool]:
    peak, target = max(costs[name]["peak_bytes"] for name, _ in RUNS if name in costs), TARGET_OF_MEMORY[size]
    return f"{size:,} readings within {_bytes(target)}", _bytes(peak), peak <= target


def _bytes(n: int) -> str:
    return f"{n / 2**30:.2f} GiB" if n >= 2**30 else f"{n / 2**20:.0f} MiB"
