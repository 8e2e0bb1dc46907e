"""The people of a release in their smallest pieces: site × period × sex × piece of age × piece of a scale.

Every count that a release speaks of is a sum of such atoms, so whatever adds up in a release adds up by itself once
the counts are written as sums of atoms: nobody has to think of an equation, and none can be forgotten.

Pieces of age are cut at every edge of every age group, pieces of a scale at every cut of every banding on it
(scales.py). Each scale tells the same people apart in its own way. Two scales, or a scale and a measure, that place as
many people of each sex and age at a site in a period are taken by a reader for the same people there, and so they are
here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import polars as pl
from scipy.sparse import csr_array

from pipeline.audit.scales import Scale, scales_of
from pipeline.audit.shown_counts import EVERYONE
from pipeline.measures import BANDINGS, MEASURES

SEXES = ("female", "male")
NOWHERE = "?"  # the one site of tables that tell no sites apart


@dataclass(frozen=True)
class Atoms:
    """The lattice of atoms and what stands for whom.

    scales      in order; each has sites × periods × sexes × pieces of age × its own pieces, the last moving fastest.
    ages        the pieces of age (first, last year), ascending.
    reach       family → the numbers of its pieces of age.
    stands_for  (families, sites × periods): the number of the family whose people a family's are, itself if its own.
    """

    sites: list[str]
    periods: list[str]
    ages: list[tuple[int, int]]
    families: list[str]
    scales: list[Scale]
    scale_of: dict[str, int]
    reach: dict[str, list[int]]
    stands_for: np.ndarray

    @property
    def groups(self) -> int:
        return len(self.sites) * len(self.periods) * len(SEXES) * len(self.ages)

    @property
    def first(self) -> np.ndarray:
        """Where each scale begins, and the number of atoms."""
        return np.cumsum([0, *(self.groups * scale.pieces for scale in self.scales)])

    @property
    def count(self) -> int:
        return int(self.first[-1])

    def described(self) -> pl.DataFrame:
        """One row an atom: scale (its number), site, period (numbers too), sex, age, piece."""
        shape = (len(self.sites), len(self.periods), len(SEXES), len(self.ages))
        parts = []
        for number, scale in enumerate(self.scales):
            places = np.indices((*shape, scale.pieces)).reshape(5, -1)
            parts.append(
                pl.DataFrame(
                    dict(zip(("site", "period", "sex", "age", "piece"), places, strict=True))
                ).with_columns(scale=pl.lit(number))
            )
        return pl.concat(parts)

    def sums(self, counts: pl.DataFrame) -> csr_array:
        """Each count as a sum of atoms, (counts, atoms). Shapes  counts: columns KEY of shown_counts."""
        entries = self._entries(counts.with_row_index("row"))
        ones = np.ones(entries.height)
        found = csr_array(
            (ones, (entries["row"].to_numpy(), entries["atom"].to_numpy())), shape=(counts.height, self.count)
        )
        found.sum_duplicates()
        return found

    def _entries(self, counts: pl.DataFrame) -> pl.DataFrame:
        site = (
            pl.DataFrame({"site": self.sites})
            .with_row_index("site_number")
            .with_columns(pl.lit("").alias("all"))
        )
        by_site = pl.concat(
            [site.select("site", "site_number"), site.select(site="all", site_number="site_number")]
        )
        sexes = pl.DataFrame({"sex": [*SEXES, "all", "all"], "sex_number": [0, 1, 0, 1]})
        ages = pl.DataFrame(
            [
                (family, low, high, piece)
                for family, low, high in counts.select("family", "age_from", "age_to").unique().iter_rows()
                for piece in self.reach[family]
                if low <= self.ages[piece][0] and self.ages[piece][1] <= high
            ],
            schema={"family": pl.String, "age_from": pl.Int64, "age_to": pl.Int64, "age_number": pl.Int64},
            orient="row",
        )
        periods = pl.DataFrame({"period": self.periods}).with_row_index("period_number")
        numbers = pl.DataFrame({"family": self.families}).with_row_index("family_number")
        spread = (
            counts.join(by_site, on="site")
            .join(sexes, on="sex")
            .join(ages, on=["family", "age_from", "age_to"])
            .join(periods, on="period")
            .join(numbers, on="family")
        )
        place = spread["site_number"].to_numpy().astype(np.int64) * len(self.periods)
        place = place + spread["period_number"].to_numpy()
        number = spread["family_number"].to_numpy()
        is_banding = np.array([family in BANDINGS for family in self.families])
        whose = np.where(is_banding[number], number, self.stands_for[number, place])
        group = (place * len(SEXES) + spread["sex_number"].to_numpy()) * len(self.ages)
        placed = spread.select(
            "row",
            "band",
            whose=pl.Series(whose, dtype=pl.Int64),
            group=pl.Series(group + spread["age_number"].to_numpy(), dtype=pl.Int64),
        )
        return placed.join(self._pieces(), on=["whose", "band"]).select(
            "row", atom=pl.col("first") + pl.col("group") * pl.col("width") + pl.col("piece")
        )

    def _pieces(self) -> pl.DataFrame:
        """(whose people, band or '' for all) → the atoms of a group: first of the scale, its width, piece."""
        rows = []
        for number, family in enumerate(self.families):
            if family not in self.scale_of:
                continue  # others stand for it everywhere
            scale = self.scales[self.scale_of[family]]
            bands = {"": tuple(range(scale.pieces))}
            bands |= {
                band: ks
                for (name, band), ks in ((scale.bands or {}) | scale.between).items()
                if name == family
            }
            first = int(self.first[self.scale_of[family]])
            rows += [(number, band, first, scale.pieces, k) for band, ks in bands.items() for k in ks]
        names = ("whose", "band", "first", "width", "piece")
        schema = {name: pl.String if name == "band" else pl.Int64 for name in names}
        return pl.DataFrame(rows, schema=schema, orient="row")


def atoms_of(counts: pl.DataFrame) -> Atoms:
    """The lattice for the true counts of a release. Shapes  counts: of shown_counts, none withheld."""
    families = [name for name in [*MEASURES, *BANDINGS] if name in set(counts["family"])]
    if EVERYONE in families:  # first, so that whoever is everybody is taken for everybody
        families.sort(key=lambda family: family != EVERYONE)
    sites = sorted(set(counts["site"]) - {""}) or [NOWHERE]
    periods = sorted(set(counts["period"]))
    ranges = counts.select("family", "age_from", "age_to").unique()
    edges = sorted({*ranges["age_from"], *(ranges["age_to"] + 1)})
    ages = [(low, high - 1) for low, high in pairwise(edges)]
    reach = {
        family: [
            i
            for i, (low, high) in enumerate(ages)
            if any(a <= low and high <= b for a, b in ranges.filter(family=family).drop("family").iter_rows())
        ]
        for family in families
    }
    banded = scales_of([family for family in families if family in BANDINGS])
    scale_of = {name: i for i, scale in enumerate(banded) for name, _ in scale.bands}
    stands_for = _who_stands_for_whom(counts, families, sites, periods, ages, reach)
    scales = list(banded)
    for number, family in enumerate(families):
        if family not in scale_of and (stands_for[number] == number).any():
            scale_of[family] = len(scales)
            scales.append(Scale(f"people with {family}", 1))
    return Atoms(sites, periods, ages, families, scales, scale_of, reach, stands_for)


def _who_stands_for_whom(
    counts: pl.DataFrame,
    families: list[str],
    sites: list[str],
    periods: list[str],
    ages: list[tuple[int, int]],
    reach: dict[str, list[int]],
) -> np.ndarray:
    """(families, sites × periods): the first family with the same number of people in every sex and piece of age.

    A banding keeps its own atoms, which tell its people apart; knowledge.py says that they are as many.
    """
    people = np.full((len(families), len(sites) * len(periods), len(SEXES) * len(ages)), np.nan)
    number = {name: {key: i for i, key in enumerate(keys)} for name, keys in
              (("family", families), ("site", sites), ("period", periods), ("sex", SEXES), ("age", ages))}  # fmt: skip
    whole = counts.filter(
        (pl.col("kind") == "people") & pl.col("site").is_in(sites) & pl.col("sex").is_in(SEXES)
    )
    for i, family in enumerate(families):
        columns = [sex * len(ages) + age for sex in range(len(SEXES)) for age in reach[family]]
        if not whole.filter(family=family).is_empty():
            people[i][:, columns] = 0
    for family, site, period, sex, low, high, n in whole.select(
        "family", "site", "period", "sex", "age_from", "age_to", "n"
    ).iter_rows():
        if (low, high) in number["age"]:
            place = number["site"][site] * len(periods) + number["period"][period]
            column = number["sex"][sex] * len(ages) + number["age"][low, high]
            people[number["family"][family], place, column] = n
    found = np.tile(np.arange(len(families))[:, None], people.shape[1])
    is_own = np.ones_like(found, dtype=bool)
    for i in range(1, len(families)):
        mine = ~np.isnan(people[i])
        for other in range(i):
            is_like = (~mine | (people[other] == people[i])).all(axis=1) & mine.any(axis=1)
            taken = is_like & is_own[i] & is_own[other]
            found[i, taken], is_own[i, taken] = other, False
    return found
