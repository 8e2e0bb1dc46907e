"""Whether a site's data still comes, as a release says it: from what is published alone.

It is reckoned from the last day of the site's last published period. That day is no earlier than the last reading, so
nobody is called late who is not.
"""

from __future__ import annotations

from datetime import date

from pipeline.arrivals import arrival
from pipeline.period import last_day


def arrival_shown(expected: str | None, last_period: str | None, as_of: date) -> str | None:
    """on_time, late, silent or nothing_yet on `as_of`; None where nothing is expected."""
    return arrival(expected, last_day(last_period) if last_period else None, as_of)
