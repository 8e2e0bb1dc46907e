"""A page for one site: what became of each file, which lines wait for a correction, what did not count and why.

It names lines and values as they were received, so it goes to the site and to nobody else. Participants are not
named: the ledger keeps no number of theirs beside a held row.
"""

from __future__ import annotations

import shutil
from datetime import date
from importlib import resources
from pathlib import Path
from typing import Any

from jinja2 import Environment, FunctionLoader, StrictUndefined

from pipeline.checks import CHECKS
from pipeline.durable import write_whole
from pipeline.faults import Fault, SettingsFault, nearest, printable
from pipeline.programme import Programme
from pipeline.status import REMOVED, ROW_STATES, read_status

FOLDER = "reports"
TEMPLATE = "site_feedback.html"
REMOVED_WORDS = {"rows_withdrawn": "withdrawn by their people", "rows_expired": "past the time they may be kept"}
LINES_SHOWN = 200  # of one reason; a file with more has one cause, and the page says how many there are
STATES = {
    "accepted": "taken",
    "held": "held whole",
    "refused": "refused and not kept",
    "duplicate": "received before",
}


def write_feedback(settings: Path, sites: list[str]) -> list[Path]:
    """Write a page for each site named, or for every site; returns their paths.

    Errors   SettingsFault for a site that the programme does not have; Fault before the first run.
    """
    programme = Programme.read(settings)
    for site in sites:
        if site not in programme.sites:
            raise SettingsFault(
                f"no site {printable(site)}",
                expected=f"a site of the programme{nearest(site, programme.sites)}",
                next="give one of those",
            )
    written, asked = [], sites or list(programme.sites)
    found = read_status(settings, as_of=date.today(), held_rows_of=asked)
    if found["run"] is None:
        raise Fault("no run yet", expected="files that were read", next="evenbeam run PROGRAMME.toml")
    for site in asked:
        folder = programme.path.parent / FOLDER / site
        folder.mkdir(parents=True, exist_ok=True)
        page = template(TEMPLATE).render(**_content(programme, found, site))
        write_whole(folder / "index.html", page.encode(), mode=0o644)
        with resources.as_file(resources.files("dashboards") / "assets" / "page.css") as style:
            shutil.copyfile(style, folder / "page.css")
        written.append(folder / "index.html")
    return written


def template(file: str) -> Any:
    """A template of this folder, escaped by default."""
    folder = resources.files("pipeline.feedback")
    return Environment(
        loader=FunctionLoader(lambda name: (folder / name).read_text(encoding="utf-8")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    ).get_template(file)


def _content(programme: Programme, found: dict[str, Any], site: str) -> dict[str, Any]:
    files = [file for file in found["files"] if file["site"] == site]
    removed = [state for state in REMOVED if any(file[state] for file in files)]
    public = programme.published / "latest" / f"site-{site}.html"
    return {
        "programme": found["programme"],
        "name": found["sites"][site],
        "as_of": found["run"]["as_of"],
        "totals": {state: sum(file[state] for file in files) for state in (*ROW_STATES, *REMOVED)},
        "removed": {state: REMOVED_WORDS[state] for state in removed},
        "files": [
            {
                "name": printable(file["name"], 120),
                "state": STATES.get(file["state"], file["state"]),
                **{state: file[state] for state in (*ROW_STATES, *REMOVED)},
                "reason": file["reason"] or "",
            }
            for file in files
        ],
        "reasons": _reasons([row for row in found["held_rows"] if row["site"] == site]),
        "set_aside": [
            {"n": row["n"], **_told(row["code"])} for row in found["set_aside"] if row["site"] == site
        ],
        "lines_shown": LINES_SHOWN,
        "public": Path("../..", programme.published.name, "latest", public.name).as_posix()
        if public.exists()
        else "",
    }


def _reasons(held: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Held rows by their first reason, the commonest first; each with its lines."""
    by_code: dict[str, list[dict[str, Any]]] = {}
    for row in held:
        by_code.setdefault(row["codes"][0], []).append(row)
    ordered = sorted(by_code.items(), key=lambda item: (-len(item[1]), item[0]))
    return [
        {
            **_told(code),
            "n": len(rows),
            "lines": [
                {
                    "file": printable(row["name"], 120),
                    **{word: printable(row[word] or "", 120) for word in ("line", "field", "found", "expected",
                                                                          "proposal")},
                }
                for row in rows[:LINES_SHOWN]
            ],
        }
        for code, rows in ordered
    ]  # fmt: skip


def _told(code: str) -> dict[str, str]:
    """A reason in words; "missing:sex" is the check `missing` and a field."""
    name, _, field = code.partition(":")
    check = CHECKS.get(name)
    if check is None:
        return {"title": code, "explanation": ""}
    return {"title": check.title + (f": {field.replace('_', ' ')}" if field else ""), "explanation": check.explanation}
