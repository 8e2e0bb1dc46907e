"""[retention]: how long what can point to a person is kept."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from pydantic import Field

from pipeline.period import day_before, period_of
from pipeline.programme.section import Section

Length = Annotated[str, Field(pattern=r"^[1-9][0-9]{0,4} (day|days|month|months|year|years)$")]


class Retention(Section):
    """How long what can point to a person is kept; without a length, until somebody withdraws."""

    files: Length | None = None  # kept copies of received files, from the day they were received
    readings: Length | None = None  # rows of the store, from the end of the period they were measured in

    def files_until(self, today: date) -> date | None:
        """Copies of files received on or before this day are past their time; None: no copy ever is.

        A file is received after its readings were taken, so a copy is never kept longer than readings are.
        """
        days = [day_before(today, length) for length in (self.files, self.readings) if length]
        return max(days, default=None)

    def first_period(self, today: date, kind: str) -> str | None:
        """The first period whose readings are kept; None: every one is.

        Readings leave a whole period at a time: a period that lost people day by day would show, from one run to the
        next, a difference of one person.
        """
        return period_of(day_before(today, self.readings), kind) if self.readings else None
