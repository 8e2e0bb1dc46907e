"""[outcomes]: when people are looked at again, and what is hoped for."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

from pydantic import Field, model_validator

from pipeline.programme.section import Section


class FollowUp(Section):
    """One follow-up: so many months after entry, give or take so many days."""

    months: int = Field(ge=1, le=60)
    tolerance_days: int = Field(ge=1, le=180)

    @property
    def day(self) -> int:
        return round(self.months * 365.25 / 12)


class Target(Section):
    """The share of adults who start at BMI 25 or over that should lose 5 % of their weight or more by a follow-up."""

    months: int = Field(ge=1, le=60)
    share_losing_5_percent: float = Field(gt=0, lt=1)


class Outcomes(Section):
    """When people are looked at again, what counts as the same visit, and what is hoped for."""

    follow_up: tuple[FollowUp, ...] = Field(
        (
            FollowUp(months=3, tolerance_days=30),
            FollowUp(months=6, tolerance_days=45),
            FollowUp(months=12, tolerance_days=60),
        ),
        min_length=1,
        max_length=8,
    )
    same_visit_hours: int = Field(12, ge=1, le=72)  # readings nearer than this are repeats of one visit
    improvement: Literal["down", "up"] = "down"  # which way a change of weight or fat counts as better
    target: Target | None = None

    @model_validator(mode="after")
    def _follow_ups_do_not_overlap(self) -> Outcomes:
        ordered = sorted(self.follow_up, key=lambda window: window.months)
        if ordered and ordered[0].day - ordered[0].tolerance_days < 1:
            raise ValueError(f"the follow-up at {ordered[0].months} months would begin before entry")
        for one, other in pairwise(ordered):
            if one.day + one.tolerance_days >= other.day - other.tolerance_days:
                raise ValueError(
                    f"the follow-ups at {one.months} and {other.months} months overlap: a reading can belong to one; "
                    "make tolerance_days smaller"
                )
        if self.target and self.target.months not in {window.months for window in self.follow_up}:
            raise ValueError(f"the target is at {self.target.months} months, and no follow-up is")
        return self
