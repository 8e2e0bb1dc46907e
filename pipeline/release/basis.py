"""What a publication stands on: this program, the settings, the words of its language, and the results.

While all of it is the same, publishing would write the same bytes, but for what a page says of the day
(pipeline/release/standing.py).
"""

from __future__ import annotations

import hashlib
from datetime import date
from pathlib import Path

from pipeline.own_source import program_digest
from pipeline.period import last_day
from pipeline.programme import Programme
from pipeline.release.tables_of_noise import NOISY_COUNT
from pipeline.release.unsuppressed import Unsuppressed, digest_of_rows
from pipeline.store import Store, sql_text

Basis = dict[str, str | None]

_PACKAGES = ("pipeline", "dashboards", "sql")
_LIBRARIES = (
    "altair", "babel", "duckdb", "jinja2", "markupsafe", "numpy", "orjson", "polars", "scipy", "typst",
    "vl-convert-python", "xlsxwriter",
)  # fmt: skip


def basis_of(store: Store, programme: Programme, results: Unsuppressed, as_of: date) -> Basis:
    """Part → its digest; of `results` a period is the part `period.<name>`, and a table of the rest `result.<name>`."""
    return {
        "program": program_digest(_PACKAGES, _LIBRARIES),
        "settings": programme.sha256,
        "language": _of_file(programme.language_file),
        "noise": noise_in(store, programme, as_of),
        "over_periods": str(results.over_periods_as_of),
        **{f"period.{period}": digest for period, digest in results.digests.items()},
        **{f"result.{name}": digest_of_rows(rows) for name, rows in results.rest.items()},
    }


def noise_in(store: Store, programme: Programme, as_of: date) -> str | None:
    """The noise as it was drawn, and the periods that are over and have some: one more is drawn when it ends."""
    if programme.settings.disclosure.noise is None:
        return None
    from pipeline.release.noise_kept import FILE  # with all of disclosure control behind it

    periods = store.frame(sql_text(NOISY_COUNT.query))["period"].unique().sort()
    over = [period for period in periods if last_day(period) < as_of]
    return f"{_of_file(programme.store / FILE)} {' '.join(over)}"


def _of_file(path: Path | None) -> str | None:
    if path is None or not path.is_file():
        return None
    return hashlib.sha256(path.read_bytes()).hexdigest()
