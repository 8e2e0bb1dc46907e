"""What `evenbeam status` tells: the last run, every file, and where every row went."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.arrivals import arrival
from pipeline.faults import SettingsFault, nearest, printable
from pipeline.programme import Programme
from pipeline.store import Store, sql_text
from pipeline.waiting_figures import due_on, resting_on, said_of

ROW_STATES = ("rows_read", "rows_accepted", "rows_held", "rows_duplicate", "rows_superseded")
REMOVED = ("rows_withdrawn", "rows_expired")  # shown where there are any


def read_status(path: Path, *, as_of: date, held_rows_of: Collection[str] = ()) -> dict[str, Any]:
    """The ledger as plain values, as docs/nightly.md describes them for `--json`; held rows of the sites named.

    Errors   StoreFault when a run is under way: the store has one reader or writer at a time.
    """
    programme = Programme.read(path)
    database = programme.store / "evenbeam.duckdb"
    found: dict[str, Any] = {
        "programme": programme.settings.name,
        "as_of": as_of,
        "run": None,
        "runs": [],
        "steps": [],
        "arrivals": [],
        "files": [],
        "reasons": [],
        "held_rows": [],
        "set_aside": [],
        "over_periods": None,
        "sites": {site.id: site.name for site in programme.sites.values()},
        "published": str(programme.published / "latest" / "index.html")
        if (programme.published / "latest" / "index.html").exists()
        else None,
    }
    if not database.exists():
        found["arrivals"] = _arrivals(programme, {}, as_of)
        return found
    with Store.open(database, read_only=True) as store:
        found["runs"] = store.frame(sql_text("64_status_runs.sql")).to_dicts()
        found["steps"] = store.frame(sql_text("65_status_steps.sql")).to_dicts()
        found["run"] = found["runs"][0] if found["runs"] else None
        found["files"] = store.frame(sql_text("60_status_files.sql")).to_dicts()
        found["reasons"] = store.frame(sql_text("61_status_reasons.sql")).to_dicts()
        found["set_aside"] = store.frame(sql_text("63_status_set_aside.sql")).to_dicts()
        found["over_periods"] = _waiting(store, programme)
        for site in held_rows_of:
            found["held_rows"] += store.frame(sql_text("62_status_held_rows.sql"), {"site": site}).to_dicts()
        last_days = dict(store.rows("select site, max(measured_on) from reading.accepted group by site"))
    found["arrivals"] = _arrivals(programme, last_days, as_of)
    return found


def _waiting(store: Store, programme: Programme) -> dict[str, date] | None:
    """The day that figures over all periods rest on and that on which they are worked out again; None: on all."""
    day = resting_on(store)
    return None if day is None else {"as_of": day, "due_on": due_on(programme, day)}


def _arrivals(programme: Programme, last_days: dict[str, date], as_of: date) -> list[dict[str, Any]]:
    """One row a site: when its last reading was, how often one is expected, and what that makes of it today."""
    return [
        {
            "site": site.id,
            "expected": site.expected,
            "last_measured_on": last_days.get(site.id),
            "state": arrival(site.expected, last_days.get(site.id), as_of),
        }
        for site in programme.sites.values()
    ]


def show_status(
    found: dict[str, Any], *, site: str | None = None, held: bool = False, runs: bool = False
) -> None:
    """Print it: a line a site, a line a file for one site, or a line a run."""
    if site is not None and site not in found["sites"]:
        raise SettingsFault(
            f"no site {printable(site)}",
            expected=f"a site of the programme{nearest(site, found['sites'])}",
            next="give one of those",
        )
    print(found["programme"])
    last = found["run"]
    if last is None:
        print("no run yet\nnext: evenbeam run PROGRAMME.toml")
        return
    print(
        f"last run {last['run_id']} on {last['started_at']:%Y-%m-%d %H:%M}, as of {last['as_of']}: "
        f"{last['outcome'].replace('_', ' ')}\n"
    )
    if runs:
        _show_runs(found["runs"])
        return
    if site is None:
        _show_sites(found)
    else:
        _show_files([file for file in found["files"] if file["site"] == site])
    if held:
        _show_held_rows(found["held_rows"])
        return
    _show_arrivals([row for row in found["arrivals"] if site in (None, row["site"])])
    _show_reasons([row for row in found["reasons"] if site in (None, row["site"])])
    _show_set_aside([row for row in found["set_aside"] if site in (None, row["site"])])
    waiting = found["over_periods"]
    if waiting:
        print(f"\n{said_of(waiting['as_of'])}; the first run from {waiting['due_on']} on works them out")
    if found["published"]:
        print(f"\nopen {found['published']}")


def _show_sites(found: dict[str, Any]) -> None:
    lines, states = [], _states_with_rows(found["files"])
    for site_id in found["sites"]:
        files = [file for file in found["files"] if file["site"] == site_id]
        aside = sum(file["state"] != "accepted" for file in files)
        last = max((file["last_measured_on"] for file in files if file["last_measured_on"]), default="")
        lines.append(
            [site_id, len(files), aside, *(sum(file[state] for file in files) for state in states), last]
        )
    total = ["all sites", *(sum(line[i] for line in lines) for i in range(1, 3 + len(states))), ""]
    _print_table(
        [
            "site",
            "files",
            "files held",
            *map(_state_title, states),
            "last reading",
        ],
        [*lines, total],
    )


def _states_with_rows(files: list[dict[str, Any]]) -> list[str]:
    """The columns of a row account: withdrawn and expired only where there are such rows."""
    return [*ROW_STATES, *(state for state in REMOVED if any(file[state] for file in files))]


def _state_title(state: str) -> str:
    return "rows read" if state == "rows_read" else state.removeprefix("rows_")


def _show_arrivals(rows: list[dict[str, Any]]) -> None:
    overdue = [row for row in rows if row["state"] not in (None, "on_time")]
    if overdue:
        print("\nExpected, and not here:")
        _print_table(
            ["site", "expected", "last reading", "state"],
            [
                [row["site"], row["expected"], row["last_measured_on"] or "none", row["state"].replace("_", " ")]
                for row in overdue
            ],
        )


def _show_runs(runs: list[dict[str, Any]]) -> None:
    _print_table(
        ["run", "started", "as of", "seconds", "outcome", "files", "files held", "rows read", "accepted", "held",
         "fault"],
        [
            [
                run["run_id"],
                f"{run['started_at']:%Y-%m-%d %H:%M}",
                run["as_of"],
                "" if run["seconds"] is None else run["seconds"],
                run["outcome"].replace("_", " "),
                *(run[key] for key in ("files", "files_held", "rows_read", "rows_accepted", "rows_held")),
                run["fault"] or "",
            ]
            for run in runs
        ],
    )


def _show_files(files: list[dict[str, Any]]) -> None:
    states = _states_with_rows(files)
    _print_table(
        ["file", "state", *map(_state_title, states), "last reading"],
        [
            [
                printable(file["name"], 40),
                file["state"],
                *(file[state] for state in states),
                file["last_measured_on"] or "",
            ]
            for file in files
        ],
    )
    for file in files:
        if file["reason"]:
            print(f"\n{file['reason']}")


def _show_set_aside(rows: list[dict[str, Any]]) -> None:
    if rows:
        print("\nAccepted, but they do not count, because the person's other readings say otherwise:")
        _print_table(["site", "reason", "readings"], [[row["site"], row["code"], row["n"]] for row in rows])


def _show_held_rows(rows: list[dict[str, Any]]) -> None:
    for row in rows:
        field = f", field {row['field']}" if row["field"] else ""
        print(
            f"held  {row['site']}/{printable(row['name'])}, line {row['line']}{field} ({', '.join(row['codes'])})"
        )
        told = [f"{word} {row[word]}" for word in ("found", "expected") if row[word]]
        print("      " + "; ".join(told))
        if row["proposal"]:
            print(f"      perhaps: {row['proposal']}")
    if rows:
        print(f"\nheld rows: {len(rows)}; next: the site corrects them and sends the file again")
    else:
        print("no held rows")


def _show_reasons(reasons: list[dict[str, Any]]) -> None:
    counts: dict[str, int] = {}
    for row in reasons:
        counts[row["code"]] = counts.get(row["code"], 0) + row["n"]
    if counts:
        print("\nRows held, by reason:")
        _print_table(
            ["reason", "rows"],
            [[code, counts[code]] for code in sorted(counts, key=lambda c: (-counts[c], c))[:15]],
        )


def _print_table(header: list[str], rows: list[list[Any]]) -> None:
    """Columns aligned: numbers to the right, words to the left."""
    columns = list(zip(header, *rows, strict=True))
    lines = []
    for title, *cells in columns:
        is_number = bool(cells) and all(isinstance(cell, int) for cell in cells)
        shown = [
            title,
            *(f"{cell:,}".replace(",", " ") if isinstance(cell, int) else str(cell) for cell in cells),
        ]
        width = max(map(len, shown))
        lines.append([text.rjust(width) if is_number else text.ljust(width) for text in shown])
    for line in zip(*lines, strict=True):
        print("  ".join(line).rstrip())
