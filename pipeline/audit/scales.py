"""The scales on which bandings cut: every cut of every banding on one line, and each band as the pieces between cuts.

Two bandings of one measure are one scale: adults' BMI is cut at 18.5, 25, 30, 35 and 40 and, where the programme asks
for it, also at 23 and 27.5. A reader who holds both tables side by side sees the pieces between all of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from pipeline import measures

# banding → the measure it cuts, and where. Bandings whose cuts differ by sex and age, or that cut two measures at once,
# are each a scale of their own. The figures are those of Band.rule in pipeline/measures.py.
CUTS: dict[str, tuple[str, tuple[float, ...]]] = {
    "bmi_adult": ("bmi", (18.5, 25, 30, 35, 40)),
    "bmi_adult_asian": ("bmi", (18.5, 23, 27.5)),
    "bmi_child": ("bmi_z", (-3, -2, 1, 2)),
    "visceral_fat": ("visceral_fat_level", (12.5,)),
}


@dataclass(frozen=True)
class Scale:
    """One scale.

    pieces   how many pieces the cuts make; 1 for a measure of which only people are counted.
    cuts     their edges, ascending; empty where they are not the same for everybody.
    bands    (banding, band) → the numbers of its pieces.
    between  likewise, of the pieces that are no band by themselves: no table shows them, two tables do.
    """

    name: str
    pieces: int
    measure: str = ""
    cuts: tuple[float, ...] = ()
    bands: dict[tuple[str, str], tuple[int, ...]] | None = None
    between: dict[tuple[str, str], tuple[int, ...]] = field(default_factory=dict)


def scales_of(bandings: list[str]) -> list[Scale]:
    """The scales of the bandings of a release, in the order of the registry.

    Errors   ValueError where the registry has another number of bands than the cuts make.
    """
    registered = [name for name in measures.BANDINGS if name in bandings]
    together: dict[str, list[str]] = {}
    for name in registered:
        together.setdefault(f"cuts of {CUTS[name][0]}" if name in CUTS else f"bands of {name}", []).append(
            name
        )
    return [_scale(title, names) for title, names in together.items()]


def _scale(title: str, names: list[str]) -> Scale:
    if names[0] not in CUTS:
        bands = measures.BANDINGS[names[0]].bands
        return Scale(title, len(bands), bands={(names[0], band.name): (i,) for i, band in enumerate(bands)})
    cuts = tuple(sorted({float(cut) for name in names for cut in CUTS[name][1]}))
    found = {}
    for name in names:
        bands = measures.BANDINGS[name].bands
        edges = (float("-inf"), *CUTS[name][1], float("inf"))
        if len(bands) != len(edges) - 1:
            raise ValueError(f"banding {name} has {len(bands)} bands and {len(edges) - 2} cuts: mend CUTS")
        for band, (low, high) in zip(bands, pairwise(edges), strict=True):
            found[name, band.name] = tuple(
                i for i, edge in enumerate((float("-inf"), *cuts)) if low <= edge < high
            )
    ends = [f"{cut:g}" for cut in cuts]
    alone = {pieces for pieces in found.values() if len(pieces) == 1}
    between = {
        (names[0], f"between {low} and {high}"): (i + 1,)
        for i, (low, high) in enumerate(pairwise(ends))
        if (i + 1,) not in alone
    }
    return Scale(title, len(cuts) + 1, CUTS[names[0]][0], cuts, found, between)
