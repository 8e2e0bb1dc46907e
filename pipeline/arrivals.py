"""Is a site's data still coming? Its last day with a reading against how often its settings expect one.

Pure: the day of the run comes in as an argument. The bounds are the project's choice: a site is late after one expected
stretch without a reading, silent after two.
"""

from __future__ import annotations

from datetime import date

LONGEST_GAP = {"weekly": 7, "monthly": 31, "quarterly": 92}  # days from a reading to the next, at most

ON_TIME, LATE, SILENT, NOTHING_YET = "on_time", "late", "silent", "nothing_yet"


def arrival(expected: str | None, last_day: date | None, as_of: date) -> str | None:
    """on_time, late, silent or nothing_yet; None where nothing is expected."""
    if expected is None:
        return None
    if last_day is None:
        return NOTHING_YET
    gaps = max(0, (as_of - last_day).days - 1) // LONGEST_GAP[expected]  # whole stretches without a reading
    return ON_TIME if gaps == 0 else LATE if gaps == 1 else SILENT
