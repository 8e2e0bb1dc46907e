"""R as an independent referee: `r(code, packages, **tables)` runs R code over tables and gives back what it found."""

import json
import os
import shutil
import subprocess
from pathlib import Path

import polars as pl
import pytest

INSTALL = (
    "apt-get install --no-install-recommends r-base-core r-cran-jsonlite r-cran-survey r-cran-vgam r-cran-quantreg "
    "r-cran-epitools r-cran-metafor"
)
_ABSENT = 3  # exit status of a run whose package is missing
_LONGEST = 120  # seconds


@pytest.fixture(scope="session")
def r(tmp_path_factory):
    """Runs R code in a fresh process.

    The code finds each table as a data frame of its name, and leaves its result in `found`, a named list of numbers,
    vectors or data frames; it comes back through JSON with 15 significant digits. Without R or a package a test is
    skipped, and says how to install them; under CI it fails.
    """

    def run(code, packages=(), **tables):
        program = shutil.which("Rscript")
        if program is None:
            _absent("Rscript")
        folder = tmp_path_factory.mktemp("r")
        for name, columns in tables.items():
            pl.DataFrame(columns).write_csv(folder / f"{name}.csv")
        (folder / "code.R").write_text(_whole(code, packages, tables), encoding="utf-8")
        done = subprocess.run(
            [program, "--vanilla", "code.R"], cwd=folder, capture_output=True, text=True, timeout=_LONGEST, check=False
        )
        if done.returncode == _ABSENT:
            _absent(f"R's package {done.stderr.strip()}")
        assert done.returncode == 0, f"R stopped:\n{done.stderr}"
        return json.loads((Path(folder) / "found.json").read_text(encoding="utf-8"))

    return run


def _whole(code, packages, tables):
    lines = ["options(digits = 17, warn = 1)"]
    for package in ("jsonlite", *packages):
        lines += [
            f'if (!requireNamespace("{package}", quietly = TRUE)) {{ cat("{package}", file = stderr()); '
            f"quit(status = {_ABSENT}) }}",
            f"suppressPackageStartupMessages(library({package}))",
        ]
    lines += [f'{name} <- read.csv("{name}.csv", colClasses = NA)' for name in tables]
    written = 'writeLines(toJSON(found, digits = NA, auto_unbox = TRUE, dataframe = "columns"), "found.json")'
    return "\n".join([*lines, code, written])


def _absent(what):
    message = f"{what} is not installed: {INSTALL}"
    if os.environ.get("CI"):
        pytest.fail(message)
    pytest.skip(message)
