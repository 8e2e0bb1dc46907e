"""[ages]: the age groups that everything is counted in, and the totals made of them."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from pydantic import Field, model_validator

from pipeline import measures
from pipeline.programme.section import Section

ADULT_FROM = 20  # adult BMI bands begin with the 20th birthday, children's end before it


class Ages(Section):
    groups: tuple[tuple[int, int], ...] = Field(measures.AGE_GROUPS, min_length=1)
    totals: tuple[tuple[int, int], ...] = measures.AGE_TOTALS  # those that the groups can make up

    @property
    def all(self) -> list[tuple[int, int]]:
        """The groups and the totals made of them; a group that is a total, too, once."""
        return list(dict.fromkeys([*self.groups, *self.totals]))

    @model_validator(mode="before")
    @classmethod
    def _totals_follow_the_groups(cls, values: Any) -> Any:
        """Groups without totals: the usual totals that they can make up."""
        if not isinstance(values, dict) or "groups" not in values or "totals" in values:
            return values
        try:
            begins, ends = {a for a, _ in values["groups"]}, {b for _, b in values["groups"]}
        except (TypeError, ValueError):
            return values  # the groups themselves are wrong, and are said to be
        return {**values, "totals": [(a, b) for a, b in measures.AGE_TOTALS if a in begins and b in ends]}

    @model_validator(mode="after")
    def _groups_tile_the_totals(self) -> Ages:
        edges = sorted(self.groups)
        crossing = [f"{a} to {b}" for a, b in edges if a < ADULT_FROM <= b]
        if crossing:
            raise ValueError(
                f"no group may cross {ADULT_FROM}, where children's bandings end and adults' begin: "
                f"split {crossing[0]} there"
            )
        for (_, previous_to), (next_from, _) in pairwise(edges):
            if next_from != previous_to + 1:
                raise ValueError(
                    f"groups must follow each other: a group ends at {previous_to}, the next begins at {next_from}"
                )
        if edges[0][0] < measures.AGE_LOW or edges[-1][1] > measures.AGE_HIGH or any(a > b for a, b in edges):
            raise ValueError(f"groups must lie between {measures.AGE_LOW} and {measures.AGE_HIGH}")
        for low, high in self.totals:
            if low not in {a for a, _ in edges} or high not in {b for _, b in edges}:
                raise ValueError(f"the total {low} to {high} must begin and end where groups do")
        return self
