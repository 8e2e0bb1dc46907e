"""The measurements of results_speed.py → their page."""

from __future__ import annotations

STEPS = (("counting", "Choosing readings and counting"), ("results", "Computing results"))
NIGHTS = (("first", "99 %"), ("night", "the last 1 %"), ("idle", "nothing new"))
_LEAST = 0.3  # seconds in some column, for a part to have a line
_WORDS = {"before": "before the changes", "after": "after them"}


def page(records: dict) -> str:
    lines = [
        "# Counting and results: time and memory", "",
        "Made by `python tests/benchmarks/results_speed.py LABEL`. Seconds of processor time, all threads together; 8 "
        "quarters, both sexes, all ages, two analysers a site. Nothing of it waits for files: the readings are "
        "invented in the store. [Where the time goes, and what still grows](results_speed_profile.md).", "",
    ]  # fmt: skip
    for label, of in records.items():
        lines += [f"## Step by step, {_WORDS.get(label, label)}", "", *_steps(of), ""]
    sizes = sorted({int(size) for of in records.values() for size in of})
    for size in sizes:
        labels = [label for label in records if str(size) in records[label]]
        lines += [f"## Part by part, {size:,} readings", "", *_parts(size, labels, records), ""]
    return "\n".join(lines)


def _steps(of: dict) -> list[str]:
    titles = " | ".join(title for _, title in STEPS)
    rows = [f"| readings | sites | what arrives | {titles} | both, wall | peak memory | of the first |"]
    rows += ["| --- |" + " --- |" * 7]
    for size in sorted(of, key=int):
        first = sum(of[size]["first"]["steps"].values())
        for night, words in NIGHTS:
            cost = of[size][night]
            took = [cost["steps"][step] for step, _ in STEPS]
            rows.append(
                f"| {cost['readings']:,} | {of[size]['sites']} | {words} | " + " | ".join(f"{s:.1f}" for s in took)
                + f" | {cost['seconds']:.0f} | {cost['peak_bytes'] / 2**30:.2f} GiB | {sum(took) / first:.0%} |"
            )  # fmt: skip
    return rows


def _parts(size: int, labels: list[str], records: dict) -> list[str]:
    """The dearest SQL files and functions; what one of them calls counts under both."""
    columns = [(label, night) for label in labels for night in ("first", "night")]
    spent = {
        (label, night): {name: seconds for name, _, seconds in records[label][str(size)][night]["spent"]}
        for label, night in columns
    }
    most: dict[str, float] = {}
    for of in spent.values():
        for name, seconds in of.items():
            most[name] = max(most.get(name, 0), seconds)
    named = dict(NIGHTS)
    rows = ["| part | " + " | ".join(f"{label}, {named[night]}" for label, night in columns) + " |"]
    rows.append("| --- |" + " --- |" * len(columns))
    for name in sorted((name for name, seconds in most.items() if seconds >= _LEAST), key=lambda one: -most[one]):
        cells = [f"{spent[column][name]:.1f}" if name in spent[column] else "" for column in columns]
        rows.append(f"| `{name}` | " + " | ".join(cells) + " |")
    return rows
