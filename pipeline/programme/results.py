"""[results]: how long figures may wait for their day."""

from __future__ import annotations

from pydantic import Field

from pipeline.programme.section import Section


class Results(Section):
    """Figures that rest on people's readings over all periods: curves, analysers, outcomes."""

    over_periods_every_days: int = Field(0, ge=0, le=92)  # 0: every run works them out
