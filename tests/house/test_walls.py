"""The walls of the house hold: who may import whom, and what must not be there at run time."""

from __future__ import annotations

import ast
import hashlib
import re
import sys
from collections import Counter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
OWN = ("pipeline", "dashboards", "synthetic_cohort", "sql")

# folder or file → the parts of this project that it may import (itself always). The order is DEVELOPERS.md's.
MAY_IMPORT = {
    "pipeline/faults.py": (),
    "pipeline/measures.py": (),
    "pipeline/seal": ("pipeline.measures", "pipeline.faults", "pipeline"),
    "pipeline/period.py": (),
    "pipeline/observation_codes.py": (),
    "pipeline/arrivals.py": (),
    "pipeline/durable.py": (),
    "pipeline/own_source.py": (),
    "pipeline/periods_apart.py": (),
    "pipeline/programme": (
        "pipeline.measures", "pipeline.faults", "pipeline.period", "pipeline.observation_codes", "pipeline.seal",
    ),
    "pipeline/store": ("pipeline.faults", "pipeline.durable"),
    "pipeline/intake": (
        "pipeline.store", "pipeline.programme", "pipeline.measures", "pipeline.faults", "pipeline.checks",
        "pipeline.seal", "pipeline.observation_codes", "pipeline.durable", "pipeline.own_source", "pipeline",
    ),
    "pipeline/sole_use.py": ("pipeline.store", "pipeline.faults"),
    "pipeline/fit_to_run.py": ("pipeline.store", "pipeline.programme", "pipeline.faults"),
    "pipeline/fit_to_freeze.py": (
        "pipeline.intake", "pipeline.release", "pipeline.store", "pipeline.programme", "pipeline.period",
        "pipeline.faults", "pipeline",
    ),
    "pipeline/waiting_figures.py": ("pipeline.store", "pipeline.programme"),
    "pipeline/removal": (
        "pipeline.intake", "pipeline.sole_use", "pipeline.store", "pipeline.programme", "pipeline.faults",
        "pipeline.durable", "pipeline",
    ),
    "pipeline/statistics": ("pipeline.measures",),
    "pipeline/disclosure": (
        "pipeline.programme", "pipeline.measures", "pipeline.statistics", "pipeline.periods_apart",
    ),
    "pipeline/audit": ("pipeline.measures", "pipeline.programme", "pipeline.faults"),
    "pipeline/release": (
        "pipeline.store", "pipeline.disclosure", "pipeline.audit", "pipeline.programme", "pipeline.measures",
        "pipeline.faults", "pipeline.checks", "pipeline.arrivals", "pipeline.period", "pipeline.durable",
        "pipeline.own_source", "pipeline.periods_apart", "pipeline.waiting_figures", "pipeline",
    ),
    "dashboards": (),
    "synthetic_cohort": ("pipeline.measures", "pipeline.reference"),
}  # fmt: skip


def python_files(part: str) -> list[Path]:
    path = ROOT / part
    return [path] if path.is_file() else sorted(path.rglob("*.py"))


def imports_of(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


@pytest.mark.parametrize("part", MAY_IMPORT)
def test_a_part_imports_only_what_it_may(part):
    allowed = (part.removesuffix(".py").replace("/", "."), *MAY_IMPORT[part])
    broken = []
    for path in python_files(part):
        for name in imports_of(path):
            is_own = name.split(".")[0] in OWN
            if is_own and not any(
                name == one
                or (name.startswith(one + ".") and (one != "pipeline" or name == "pipeline.__version__"))
                for one in allowed
            ):
                broken.append(f"{path.relative_to(ROOT)} imports {name}")
    assert broken == []


def test_the_audit_and_the_suppressor_share_no_code():
    """What proves a release must not stand on what made it: an error of one would be an error of both."""
    ours = {"audit": "disclosure", "disclosure": "audit"}
    at_fault = [
        f"{path.relative_to(ROOT)}: {name}"
        for part, other in ours.items()
        for path in python_files(f"pipeline/{part}")
        for name in imports_of(path)
        if name.startswith(f"pipeline.{other}")
    ]
    assert at_fault == [] and python_files("pipeline/audit")


def test_nothing_at_run_time_needs_pandas_or_pyarrow():
    at_fault = [
        f"{path.relative_to(ROOT)}: {name}"
        for part in ("pipeline", "dashboards", "synthetic_cohort")
        for path in python_files(part)
        for name in imports_of(path)
        if name.split(".")[0] in ("pandas", "pyarrow")
    ]
    assert at_fault == []


def test_sealing_needs_python_alone_until_a_file_asks_for_more():
    """At the top of its modules only the standard library; within functions what one format or encoding needs."""
    at_top, within = set(), set()
    for path in python_files("pipeline/seal"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        foreign = {name.split(".")[0] for name in imports_of(path)} - {*sys.stdlib_module_names, "pipeline"}
        within |= foreign
        at_top |= foreign & {
            (node.module if isinstance(node, ast.ImportFrom) else node.names[0].name).split(".")[0]
            for node in tree.body
            if isinstance(node, ast.Import | ast.ImportFrom)
        }
    assert at_top == set()
    assert within == {"charset_normalizer", "openpyxl", "polars"}


def test_statistics_touch_no_file_no_database_and_no_clock():
    forbidden = ("duckdb", "pathlib", "os", "time", "datetime", "io", "sqlite3", "requests")
    at_fault = [
        f"{path.relative_to(ROOT)}: {name}"
        for path in python_files("pipeline/statistics")
        for name in imports_of(path)
        if name.split(".")[0] in forbidden
    ]
    assert at_fault == []


def test_reference_files_are_the_ones_described():
    folder = ROOT / "pipeline" / "reference"
    described = set(re.findall(r"`([0-9a-f]{64})`", (folder / "README.md").read_text(encoding="utf-8")))
    assert described == {hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.glob("*.csv")}


@pytest.mark.parametrize("path", sorted((ROOT / "sql").glob("[0-9]*.sql")), ids=lambda path: path.name)
def test_a_sql_file_opens_with_its_promise(path):
    text = path.read_text(encoding="utf-8")
    header = re.match(r"(?:--.*\n)+", text)
    assert header, "the file opens with a comment"
    if "macros" not in path.name:
        assert "grain" in header.group() and "inputs" in header.group()
    body = re.sub(r"--.*", "", text)
    assert not re.search(r"\b(SELECT|FROM|WHERE|INSERT)\b", body), "lower case"


@pytest.mark.parametrize("path", sorted((ROOT / "sql" / "checks").glob("*.sql")), ids=lambda path: path.name)
def test_a_promise_says_stop_or_warn(path):
    assert re.match(r"-- (stop|warn): \S", path.read_text(encoding="utf-8"))


def test_no_test_changes_the_program_for_the_tests_of_other_folders():
    """A fixture of the session that patches lasts until the last test of that process, whichever that is."""
    lasting = [
        f"{path.relative_to(ROOT)}: {function.name}"
        for path in sorted((ROOT / "tests").rglob("*.py"))
        for function in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(function, ast.FunctionDef)
        and any('scope="session"' in ast.unparse(one).replace("'", '"') for one in function.decorator_list)
        and any(isinstance(node, ast.Yield) for node in ast.walk(function))
        and "MonkeyPatch" in ast.unparse(function)
    ]
    assert lasting == []


def test_no_two_test_files_share_a_name():
    """pytest imports them by their names alone, and refuses the second one only when both are collected."""
    names = Counter(path.name for path in (ROOT / "tests").rglob("test_*.py"))
    assert [name for name, n in names.items() if n > 1] == []
