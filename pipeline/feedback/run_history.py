"""A page on the programme's runs: when, how long, what came in, what failed; and which sites and files are waited for.

It names files, so it stays inside the programme: reports/runs.html, beside the sites' own pages.
"""

from __future__ import annotations

import shutil
from datetime import date
from importlib import resources
from pathlib import Path
from typing import Any

from pipeline.faults import Fault, printable
from pipeline.feedback.run_charts import run_charts
from pipeline.feedback.site_page import FOLDER, template
from pipeline.flow import STEPS
from pipeline.intake.amounts import amount
from pipeline.programme import Programme
from pipeline.status import read_status

FILE = "runs.html"
RUNS_SHOWN = 400
RUNS_DRAWN = 40
FILES_SHOWN = 100
OUTCOMES = {
    "running": "under way",
    "finished": "finished",
    "finished_with_held_files": "finished, files held",
    "finished_without_source": "finished without a source",
    "failed": "failed",
}
ADVICE = {
    "source out of reach": "The next run reads what waits there. If it goes on, look at the server.",
    "store in use": "Another run was under way; see whether it ended.",
}


def write_history(settings: Path, *, as_of: date) -> Path:
    """Write the page anew and return its path.

    Errors   Fault before the first run, StoreFault while a run is under way.
    """
    programme = Programme.read(settings)
    found = read_status(settings, as_of=as_of)
    if found["run"] is None:
        raise Fault("no run yet", expected="a run to tell of", next="evenbeam run PROGRAMME.toml")
    folder = programme.folder / FOLDER
    folder.mkdir(exist_ok=True)
    page = template("run_history.html").render(**_content(found))
    for package, name in (("dashboards", "assets/page.css"), ("pipeline.feedback", "run_history.css")):
        with resources.as_file(resources.files(package).joinpath(name)) as style:
            shutil.copyfile(style, folder / Path(name).name)
    part = folder / f".{FILE}.part"
    part.write_text(page, encoding="utf-8", newline="\n")
    part.replace(folder / FILE)
    return folder / FILE


def _content(found: dict[str, Any]) -> dict[str, Any]:
    runs = [_told(run) for run in found["runs"][:RUNS_SHOWN]]
    arrivals = [{**row, "name": found["sites"][row["site"]]} for row in found["arrivals"]]
    step_names, steps = _steps(found)
    return {
        "programme": found["programme"],
        "as_of": found["as_of"],
        "headline": _headline(runs),
        "advice": ADVICE.get(runs[0]["fault"], "Run it by hand to read the whole message." if runs[0]["fault"] else ""),
        "last": runs[0],
        "runs": runs,
        "more_runs": len(found["runs"]) - len(runs),
        "overdue": [row for row in arrivals if row["state"] not in (None, "on_time")],
        "is_expected": any(row["state"] for row in arrivals),
        "waiting": [
            {
                "site": file["site"],
                "name": printable(file["name"], 120),
                "state": file["state"],
                "why": (file["reason_code"] or "").replace("_", " "),
            }
            for file in found["files"]
            if file["state"] != "accepted"
        ],
        "most_files": FILES_SHOWN,
        "step_names": step_names,
        "steps": steps[:RUNS_SHOWN],
        "charts": _charts(found),
    }


def _told(run: dict[str, Any]) -> dict[str, Any]:
    return {
        **run,
        "started": f"{run['started_at']:%Y-%m-%d %H:%M}",
        "outcome": OUTCOMES.get(run["outcome"], run["outcome"]),
        "fault": run["fault"] or "",
        "seconds": "" if run["seconds"] is None else run["seconds"],
        "took": "–" if run["seconds"] is None else _length(run["seconds"]),
    }


def _length(seconds: int) -> str:
    if seconds < 120:
        return f"{seconds} s"
    return f"{seconds // 60} min" if seconds < 7200 else f"{seconds // 3600} h {seconds % 3600 // 60} min"


def _headline(runs: list[dict[str, Any]]) -> str:
    """How things stand, in a sentence: since when the last outcome has been what it is."""
    is_well = [run["outcome"].startswith("finished") for run in runs]
    if is_well[0]:
        n = is_well.index(False) if False in is_well else len(runs)
        return "The last run finished" if n == 1 else f"The last {n} runs finished"
    n = is_well.index(True) if True in is_well else len(runs)
    return "The last run did not finish" if n == 1 else f"The last {n} runs did not finish"


def _steps(found: dict[str, Any]) -> tuple[list[str], list[dict[str, Any]]]:
    """Each run's seconds by step, in the order of the steps; steps of a withdrawal after those of a run."""
    seconds: dict[int, dict[str, float]] = {}
    for row in found["steps"]:
        by_step = seconds.setdefault(row["run_id"], {})
        by_step[row["step"]] = by_step.get(row["step"], 0) + row["seconds"]
    usual = [step.name for step in STEPS]
    present = {step for by_step in seconds.values() for step in by_step}
    names = [name for name in usual if name in present] + sorted(present - set(usual))
    told = [
        {"run_id": run_id, "seconds": [f"{by_step[name]:.1f}" if name in by_step else "" for name in names]}
        for run_id, by_step in seconds.items()
    ]
    return names, told


def _charts(found: dict[str, Any]) -> list[dict[str, Any]]:
    """Two pictures of the newest runs, each with the sentence that says what it shows."""
    drawn = {run["run_id"] for run in found["runs"][:RUNS_DRAWN]}
    names, _ = _steps(found)
    seconds = [
        {"run_id": row["run_id"], "part": row["step"], "n": row["seconds"]}
        for row in found["steps"]
        if row["run_id"] in drawn
    ]
    rows = [
        {"run_id": run["run_id"], "part": part, "n": run[f"rows_{part}"]}
        for run in found["runs"][:RUNS_DRAWN]
        for part in ("accepted", "held")
    ]
    charts = []
    if seconds:
        total: dict[int, float] = {}
        for row in seconds:
            total[row["run_id"]] = total.get(row["run_id"], 0) + row["n"]
        longest = max(total, key=lambda run_id: (total[run_id], run_id))
        newest = max(total)
        charts.append(
            {
                "title": "How long each step took",
                "summary": f"Run {newest} took {total[newest]:.0f} seconds; the longest of {amount(len(total), 'run')} "
                f"was run {longest} with {total[longest]:.0f}.",
                "pictures": run_charts(seconds, of="step", unit="seconds", order=names),
            }
        )
    accepted = sum(row["n"] for row in rows if row["part"] == "accepted")
    held = sum(row["n"] for row in rows if row["part"] == "held")
    charts.append(
        {
            "title": "What became of the rows",
            "summary": f"Of {amount(len(drawn), 'run')}: {amount(accepted, 'row')} accepted, {held} held.",
            "pictures": run_charts(rows, of="rows", unit="rows", order=["accepted", "held"]),
        }
    )
    return charts
