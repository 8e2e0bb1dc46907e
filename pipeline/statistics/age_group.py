"""Counts by sex and single year of age → counts by the published groups of sex and age."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import polars as pl

AgeGroups = Sequence[tuple[int, int]]

SEXES = ("female", "male")


def group_table(age_groups: AgeGroups) -> pl.DataFrame:
    """Every published group, numbered in the order of the published tables.

    Shapes   out: columns group, sex (all, female, male), age_from, age_to; one row a group, sorted.
    Errors   ValueError for an age group that ends before it begins or stands twice.
    """
    for age_from, age_to in age_groups:
        if age_from > age_to:
            raise ValueError(f"age group {age_from} to {age_to} ends before it begins")
    if len(set(age_groups)) < len(age_groups):
        raise ValueError(f"an age group stands twice: {sorted(age_groups)}")
    rows = [(sex, *ages) for sex in ("all", *SEXES) for ages in sorted(age_groups)]
    return pl.DataFrame(
        [(i, *row) for i, row in enumerate(rows)],
        orient="row",
        schema={"group": pl.Int16, "sex": pl.String, "age_from": pl.Int16, "age_to": pl.Int16},
    )


def ages_reported(age_groups: AgeGroups, lowest: int, highest: int) -> list[tuple[int, int]]:
    """The age groups in which something that applies from `lowest` to `highest` years is reported.

    A group that begins earlier is left out: 15 to 19 would be the 18- and 19-year-olds alone, and 5 to 99 beside
    20 to 99 would give those two years away by subtraction. Of groups that cover the same of its ages, the
    narrowest stays: a child's banding has 5 to 19, not 5 to 99.

    Missing  where no group would be left, every group that it reaches stays.
    """
    covered: dict[tuple[int, int], tuple[int, int]] = {}
    for age_from, age_to in sorted(age_groups, key=lambda group: group[1] - group[0]):
        if lowest <= age_from <= highest:
            covered.setdefault((age_from, min(age_to, highest)), (age_from, age_to))
    return sorted(covered.values()) or sorted(g for g in age_groups if g[0] <= highest and g[1] >= lowest)


def groups_reported(
    ages: Mapping[str, tuple[int, int]], groups: pl.DataFrame, age_groups: AgeGroups
) -> pl.DataFrame:
    """Every group in which each banding or measure is reported.

    Shapes   ages: name → (lowest, highest) year it applies to; groups: of group_table; out: columns name, group.
    """
    listed = [(name, *group) for name, of in ages.items() for group in ages_reported(age_groups, *of)]
    schema = {"name": pl.String, "age_from": pl.Int16, "age_to": pl.Int16}
    return (
        pl.DataFrame(listed, orient="row", schema=schema)
        .join(groups, on=["age_from", "age_to"])
        .select("name", "group")
    )


def count_by_group(tally: pl.DataFrame, groups: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
    """Sum a tally over single years and sexes into published groups.

    Shapes   as cells_in_groups, but one row a key of `by` and group.
    Units, Missing, Errors   as cells_in_groups.
    """
    return cells_in_groups(tally, groups, by).group_by(*by, "group").agg(pl.col("n").sum())


def cells_in_groups(tally: pl.DataFrame, groups: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
    """The cells of a tally under every published group that they belong to.

    Groups overlap (totals do): ages are first summed into the pieces that no group edge divides, and pieces are
    then listed under their groups, so the long table is read once.

    Shapes   tally: columns `by`, sex, age, n, in any order; groups: of group_table;
             out: columns `by`, group, n, in no particular order; a key may stand several times, once a piece.
    Units    ages in whole years, both ends of a group within; n in people.
    Missing  an age that lies in no group counts in none; a group that nobody is in has no row.
    Errors   ValueError for a sex other than female and male.
    """
    strangers = set(tally["sex"].unique()) - set(SEXES)
    if strangers:
        raise ValueError(f"sex {sorted(strangers, key=str)[0]} in a tally; the sexes are {', '.join(SEXES)}")
    piece_of_person, group_of_piece = pieces(groups)
    keys = list(by)
    return (
        tally.lazy()
        .with_columns(pl.col("age").cast(pl.Int16))
        .join(piece_of_person.lazy(), on=["sex", "age"])
        .group_by(*keys, "piece")
        .agg(pl.col("n").sum())
        .filter(pl.col("n") > 0)
        .join(group_of_piece.lazy(), on="piece")
        .select(*keys, "group", "n")
        .collect()
    )


def pieces(groups: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Runs of ages of one sex that no group edge divides, numbered from 0.

    Shapes   out: columns sex, age, piece of every year that lies in a group's range; columns piece, group.
    """
    listed = groups.rows()
    starts = sorted({a for _, _, a, _ in listed} | {b + 1 for *_, b in listed})
    runs = [(a, b - 1) for a, b in pairwise(starts)]
    pieces = [(i, sex, a, b) for i, (sex, (a, b)) in enumerate((s, run) for s in SEXES for run in runs)]
    people = [(sex, age, i) for i, sex, a, b in pieces for age in range(a, b + 1)]
    members = [
        (i, group)
        for i, sex, a, b in pieces
        for group, of_sex, age_from, age_to in listed
        if of_sex in ("all", sex) and age_from <= a and b <= age_to
    ]
    return (
        pl.DataFrame(people, schema={"sex": pl.String, "age": pl.Int16, "piece": pl.Int16}, orient="row"),
        pl.DataFrame(members, schema={"piece": pl.Int16, "group": pl.Int16}, orient="row"),
    )
