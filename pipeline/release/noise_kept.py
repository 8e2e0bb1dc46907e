"""Noisy counts, drawn once a period and kept: store/noisy_counts.json.

Noise drawn anew for the same period would be a second answer to the same question, and the mean of many answers is the
true count. So a period is drawn once, when it is over, and what was drawn is published from then on, whatever late
files or another epsilon would make of it. The file stands beside the database, not in it, because the database may be
rebuilt from the archive and the noise must not be; it is backed up like the pseudonym key. The same store and day give
the same bytes; another store could not give these.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.disclosure import noisy_counts
from pipeline.durable import write_whole
from pipeline.faults import SettingsFault, StoreFault
from pipeline.period import last_day
from pipeline.programme import Disclosure, Programme
from pipeline.release.column import POLARS_TYPES, Table
from pipeline.release.tables_of_noise import NOISY_COUNT
from pipeline.store import Store, sql_text

FILE = "noisy_counts.json"


def noisy_tables(store: Store, programme: Programme, as_of: date) -> list[tuple[Table, pl.DataFrame]]:
    """The table of noisy counts with its rows, where the settings ask for it; else nothing.

    Periods that are over and were not drawn yet are drawn now, and kept before they are published.
    Errors   SettingsFault as for `mechanism_of`; StoreFault when what was kept cannot be read.
    """
    rules = programme.settings.disclosure
    if rules.noise is None:
        return []
    of = mechanism_of(rules)
    path = programme.store / FILE
    kept = _read(path)
    people = store.frame(sql_text(NOISY_COUNT.query))
    over = [period for period in people["period"].unique().sort().to_list() if last_day(period) < as_of]
    fresh = [period for period in over if period not in kept]
    for period in fresh:
        grid = noisy_counts.empty_grid([period], programme.settings.ages.groups)
        kept[period] = noisy_counts.noisy(noisy_counts.counted(grid, people), of).to_dicts()
    if fresh:
        _write(path, kept)
    rows = pl.DataFrame(
        [row for period in sorted(kept) if last_day(period) < as_of for row in kept[period]],
        schema={column.name: POLARS_TYPES[column.type] for column in NOISY_COUNT.columns},
    )
    return [(replace(NOISY_COUNT, description=_described(rows)), rows)]


def require_noise_can_be_drawn(programme: Programme) -> None:
    """Say at the start of a run what would stop it at its end.

    Errors   SettingsFault as for `mechanism_of`.
    """
    if programme.settings.disclosure.noise:
        mechanism_of(programme.settings.disclosure)


def mechanism_of(rules: Disclosure) -> noisy_counts.Mechanism:
    """The mechanism that the settings ask for.

    Errors   SettingsFault without OpenDP, or when the noise is too fine beside suppression.
    """
    try:
        return noisy_counts.mechanism(
            rules.noise.epsilon, rules.noise.delta, minimum_count=rules.minimum_count
        )
    except ModuleNotFoundError as error:
        raise SettingsFault(
            "noise not installed",
            found=f"no module {error.name}",
            expected="the noise extra, for [disclosure.noise]",
            next="pip install 'evenbeam[noise]', or take [disclosure.noise] out of the settings",
        ) from error
    except noisy_counts.NoiseTooFine as error:
        raise SettingsFault(
            "noise too fine",
            where="disclosure.noise",
            found=str(error),
            expected="noise at least as wide as what suppression hides",
            next="give a smaller epsilon (0.25 fits a minimum_count of 10)",
        ) from error


def _described(rows: pl.DataFrame) -> str:
    spent = noisy_counts.budget(rows)
    periods = len(spent["periods"])
    return (
        f"{NOISY_COUNT.description} Unit of privacy: {spent['unit']}. Budget: epsilon and delta as in each row, one "
        f"table; in all, of a person in every one of the {periods} periods here, epsilon "
        f"{spent['epsilon_of_a_person_in_every_period']:g} and delta "
        f"{spent['delta_of_a_person_in_every_period']:g}. It holds for {spent['holds_for']}."
    )


def _read(path: Path) -> dict[str, list[dict[str, Any]]]:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise StoreFault(
            "noisy counts unreadable",
            where=str(path),
            found=str(error),
            expected="the noise as it was drawn",
            next="restore the file from its backup: drawn anew, the noise would be spent twice",
        ) from error


def _write(path: Path, kept: dict[str, list[dict[str, Any]]]) -> None:
    write_whole(path, json.dumps(kept, sort_keys=True, indent=1).encode(), mode=0o600)
