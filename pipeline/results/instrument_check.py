"""Last digits, rows sent twice, impossible values and athlete mode of each site → result.instrument_check."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

import numpy as np
import polars as pl

from pipeline import in_parts, measures
from pipeline.programme import Profile, Programme
from pipeline.results.plain_number import without_nan
from pipeline.statistics.entry_share import against_the_others
from pipeline.statistics.terminal_digit import digit_preference
from pipeline.store import Store, sql_text

_DIGITS = (
    "last printed digit in the unit received; statistic: chi-square of ten equal shares, 9 degrees of freedom; "
    "value: share that would have to change digit; n: readings with the commonest digit"
)
_AGAINST = "statistic: share over the share at the other sites; p: Fisher's exact test, one-sided; value: share"
_METHODS = {
    "duplicated": f"rows received before, of rows read; {_AGAINST}",
    "impossible": f"rows held for values that cannot be, of rows read; {_AGAINST}",
    "athlete_mode": f"readings with a remark on athlete mode, of readings that tell it; {_AGAINST}",
}
_DIGITS_OF = "terminal_digit_"
_COLUMNS = ("site", "period", "check", "n", "denominator", "statistic", "p", "value", "method", "flag")


def build_instrument_checks(
    store: Store, programme: Programme, periods: Sequence[str] | None = None
) -> None:
    """Rewrite result.instrument_check, in the caller's transaction.

    `periods`: those whose readings changed since, where the caller knows that nothing else did; None: last digits are
    counted anew.
    """
    if periods is None:
        store.execute("delete from tally.last_digit")
        store.execute("delete from tally.file_in_last_digit")
    rows = pl.concat([_digit_rows(store, programme), _entry_rows(store)])
    store.replace_rows(
        "result.instrument_check", without_nan(rows).sort("check", "period", "site", nulls_last=False)
    )


def printed_steps(profile: Profile, field: str) -> float | None:
    """How many printed steps of a site's files make one canonical unit; None where last digits cannot be tested.

    They can where the printed step is 1, 0.1, 0.01 … of the unit received: half centimetres or fifths of a pound
    use some digits only, and a value written with its own unit has no fixed last digit.
    """
    column = profile.columns.get(field)
    if column is None or column.written_units:
        return None
    unit = measures.unit_named(column.unit or measures.FIELDS[field].unit)
    if unit is None:
        return None
    step = Fraction(str(column.resolution)) if column.resolution else unit.step
    if not float(math.log10(step)).is_integer():
        return None
    return float(1 / (step * unit.factor))


def _digit_rows(store: Store, programme: Programme) -> pl.DataFrame:
    steps = [
        (site, printed_steps(profile, "weight"), printed_steps(profile, "height"))
        for site, profile in sorted(programme.profiles.items())
    ]
    schema = {"site": pl.String, "weight": pl.Float64, "height": pl.Float64}
    known = [row for row in steps if row[1:] != (None, None)]
    with store.lent("printed_step", pl.DataFrame(known, schema=schema, orient="row")):
        store.execute_file("56_file_in_last_digit.sql")
        new = store.rows("select site, n from site_with_news order by site")
        for first, last in in_parts.sites_together(new, in_parts.READINGS_AT_A_TIME):
            store.execute_file("56_tally_last_digit.sql", first_site=first, last_site=last)
        store.execute("drop table file_here")
        store.execute("drop table site_with_news")
    digits = store.frame(sql_text("56_terminal_digit.sql"))
    keys = ["site", "period", "measure"]
    groups = digits.select(keys).unique(maintain_order=True)
    counts = np.zeros((groups.height, 10))
    place = groups.with_row_index("row").join(digits, on=keys, nulls_equal=True)
    counts[place["row"].to_numpy(), place["digit"].to_numpy()] = place["n"].to_numpy()
    found = digit_preference(counts)
    return groups.select(
        "site",
        "period",
        check=pl.lit(_DIGITS_OF) + pl.col("measure"),
        n=pl.Series(counts.max(axis=1).astype(np.int64)),
        denominator=pl.Series(found.people.astype(np.int64)),
        statistic=pl.Series(found.chi_square),
        p=pl.Series(found.p),
        value=pl.Series(found.dissimilarity),
        method=pl.lit(_DIGITS),
        flag=pl.lit(None, pl.String),
    )


def _entry_rows(store: Store) -> pl.DataFrame:
    counted = store.frame(sql_text("56_entry_check.sql"))
    parts = []
    for (check, _), part in counted.group_by("check", "period", maintain_order=True):
        found = against_the_others(part["n"].to_numpy(), part["denominator"].to_numpy())
        parts.append(
            part.with_columns(
                statistic=pl.Series(found.ratio),
                p=pl.Series(found.p),
                value=pl.Series(found.share),
                method=pl.lit(_METHODS[check]),
                flag=pl.lit(None, pl.String),
            ).select(_COLUMNS)
        )
    return pl.concat(parts) if parts else _no_rows()


def _no_rows() -> pl.DataFrame:
    text = dict.fromkeys(_COLUMNS, pl.String)
    return pl.DataFrame(
        schema=text
        | dict.fromkeys(("n", "denominator"), pl.Int64)
        | dict.fromkeys(("statistic", "p", "value"), pl.Float64)
    )
