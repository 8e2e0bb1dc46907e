"""[disclosure]: how few people may be shown, and whether counts are rounded or told with noise."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipeline.programme.section import Section


class Noise(Section):
    """Differentially private counts beside the exact tables; epsilon and delta of a person in one period."""

    epsilon: float = Field(gt=0, le=10)
    delta: float = Field(0, ge=0, le=1e-3)


class Disclosure(Section):
    minimum_count: int = Field(10, ge=3, le=1000)
    minimum_people_for_percentile: int = Field(30, ge=10, le=10_000)
    rounding: Literal[5] | None = None
    noise: Noise | None = None
