"""What adds up in a release, as data: total = sum of parts, over the cells of a release.

Both the suppressor and the audit read it, and nothing else of each other. Every equation here is one that a
reader knows without seeing a figure:

    band    the bands of a group add up to its people
    sex     female and male add up to all
    age     age groups add up to a total; a total is also the sum of smaller totals and the groups beside them
    site    the sites add up to all sites
    twin    two counts of the same people, or of people who turn out to be as many, in tables side by side
    edge    two bandings that cut the same scale at different edges
    rows    rows read are accepted, held, duplicate or superseded; accepted readings count or are set aside;
            reasons add up to what was held or set aside where each row has one; periods add up to the whole

A group that nobody is in has no rows, and a reader knows that it is empty: it is left out of the sum.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import polars as pl

from pipeline.disclosure.cells import GROUP, KEY, SET_ASIDE, Cells, in_order
from pipeline.disclosure.stretches import stretch_of

KINDS = ("sex", "age", "site", "twin", "rows", "band", "edge")
_KIND = pl.Enum(KINDS)
_WHOLES = ["rows_read", "rows_accepted", "readings"]
_PAIR = {"total": pl.UInt32, "part": pl.UInt32, "variant": pl.Int64}
Range = tuple[int, int]


def equations_of(cells: Cells) -> pl.DataFrame:
    """Every equation, one row a cell of it.

    Shapes   kind, equation (numbered from 0 over all kinds), cell, is_total: exactly one total an equation, before its
             parts in order of their cells. A total may stand in several equations.
    Missing  an equation without parts is left out. Twins and rows need the true counts: where a count is null
             no such equation is made.
    """
    frame = cells.frame
    found = [
        ("sex", _sums(frame, "sex", pl.col("sex") == "all")),
        ("site", _sums(frame, "site", pl.col("site") == "")),
        ("age", _ages(frame)),
        ("age", _ages_across(frame)),
        ("twin", _twins(frame)),
        ("rows", _rows(frame)),
        ("band", _bands(frame)),
        ("edge", _edges(frame)),
    ]
    numbered, first = [], 0
    for kind, pairs in found:
        numbered.append(_entries(kind, pairs, first))
        first += int(numbered[-1]["is_total"].sum())
    return pl.concat(numbered)


def _entries(kind: str, pairs: pl.DataFrame, first: int) -> pl.DataFrame:
    """(total, variant, part) → one row a cell; equations in order of total and variant, numbered from `first` on."""
    total, variant, part = (pairs[name].cast(pl.Int64).to_numpy() for name in ("total", "variant", "part"))
    equation = total * (variant.max(initial=0) + 1) + variant
    order = np.argsort(equation * (part.max(initial=0) + 1) + part)
    begins = np.diff(equation[order], prepend=-1) != 0
    place = np.arange(part.size) + np.cumsum(begins)  # of each part: its equation's total and those before go first
    is_total = np.ones(part.size + np.count_nonzero(begins), dtype=bool)
    is_total[place] = False
    cell = np.empty(is_total.size, dtype=np.uint32)
    cell[place], cell[is_total] = part[order], total[order][begins]
    return pl.DataFrame(
        {
            "kind": pl.Series([kind], dtype=_KIND).new_from_index(0, cell.size),
            "equation": (first - 1 + np.cumsum(is_total)).astype(np.uint32),
            "cell": cell,
            "is_total": is_total,
        }
    )


def require_that_people_add_up(cells: Cells, equations: pl.DataFrame) -> None:
    """Counts of people that do not satisfy their own sums would be withheld nearly all, and nobody would know why.

    Errors   ValueError naming the first total that is not the sum of its parts, without any count.
    """
    cell, is_total, equation = (equations[name].to_numpy() for name in ("cell", "is_total", "equation"))
    count = cells.frame["count"].cast(pl.Float64)
    is_counted = ((cells.frame["kind"] != "rows") & count.is_not_null()).to_numpy()[cell]
    surplus = np.where(is_counted, np.where(is_total, 1, -1) * count.fill_null(0).to_numpy()[cell], 0)
    has_total = np.bincount(equation, is_counted & is_total) > 0
    differs = np.flatnonzero(has_total & (np.bincount(equation, surplus) != 0))
    if differs.size:
        entry = np.flatnonzero((equation == differs[0]) & is_total)[0]
        kind, group = equations["kind"][int(entry)], cells.frame.select(KEY).row(int(cell[entry]), named=True)
        raise ValueError(
            f"counts do not add up, over {_OVER[kind]}, in {group}: the results were not made from one set of tallies"
        )


_OVER = {"sex": "sexes", "age": "ages", "site": "sites", "twin": "tables", "band": "bands", "edge": "bandings"}


def _sums(frame: pl.DataFrame, over: str, is_total: pl.Expr) -> pl.DataFrame:
    """Cells alike in everything but one column, which has a value for all of them together."""
    others = [name for name in KEY if name != over]
    totals = frame.filter(is_total).select(*others, total="cell")
    parts = frame.filter(~is_total).select(*others, part="cell")
    return _pairs(parts.join(totals, on=others))


def _pairs(found: pl.DataFrame, variant: int = 0) -> pl.DataFrame:
    return found.select("total", "part", variant=pl.lit(variant, dtype=pl.Int64))


def _bands(frame: pl.DataFrame) -> pl.DataFrame:
    group = ["family", *GROUP]
    totals = frame.filter(pl.col("kind") == "people").select(*group, total="cell")
    parts = frame.filter(pl.col("kind") == "band").select(*group, part="cell")
    return _pairs(parts.join(totals, on=group))


def _ages(frame: pl.DataFrame) -> pl.DataFrame:
    """Totals of age groups within one measure, banding or band."""
    return _tiled(frame.filter(pl.col("kind") != "rows"))


def _ages_across(frame: pl.DataFrame) -> pl.DataFrame:
    """Totals of age groups that another measure or banding shows of the same people, such as 20 to 79 of body fat.

    Kept where they do add up: there a reader sees everybody measured, and may take them for the same people.
    """
    people = frame.filter((pl.col("kind") == "people") & pl.col("count").is_not_null())
    found = [pl.DataFrame(schema=_PAIR)]
    for family in _differing_families(people):
        own = people.filter(family=family)
        others = people.join(own.select("age_from", "age_to").unique(), on=["age_from", "age_to"], how="anti")
        foreign = others.sort("cell").unique([*GROUP, "count"], keep="first", maintain_order=True)
        pool = pl.concat([own, foreign.with_columns(family=pl.lit(family))]).sort(KEY)
        is_own = pl.col("part").is_in(own["cell"].implode()) & pl.col("total").is_in(own["cell"].implode())
        pairs = _tiled(pool)
        pairs = pairs.with_columns(
            is_foreign=~is_own,
            part_count=frame["count"].gather(pairs["part"]),
            total_count=frame["count"].gather(pairs["total"]),
        )
        equation = ["total", "variant"]
        adds_up = pl.col("part_count").sum().over(equation) == pl.col("total_count")
        across = pairs.filter(adds_up & pl.col("is_foreign").any().over(equation))
        found.append(across.select("total", "part", variant=pl.col("variant") + 1000 * len(found)))
    return pl.concat(found)


def _differing_families(people: pl.DataFrame) -> list[str]:
    """One of each set of measures and bandings that show the same people in every group."""
    seen: dict[int, str] = {}
    for (family,), rows in people.group_by(["family"], maintain_order=True):  # cells are in the order of their groups
        if rows.select("age_from", "age_to").n_unique() > 1:
            content = rows.select(*GROUP, "count").hash_rows(seed=0).implode().hash(seed=0).item()
            seen.setdefault(content, family)
    return list(seen.values())


def _tiled(counted: pl.DataFrame) -> pl.DataFrame:
    """(total, variant, part) of every tiling, from cells with a family each, in the order of their keys."""
    families = counted["family"].unique(maintain_order=True)
    family = counted["family"].cast(pl.Enum(families)).to_physical().cast(pl.Int64)
    tilings = [
        (number, *total, variant, *part)
        for (number,), rows in counted.select("age_from", "age_to", family=family).unique().group_by(["family"])
        for total, variant, parts in tilings_of(set(rows.select("age_from", "age_to").rows()))
        for part in parts
    ]
    names = ["family", "total_from", "total_to", "variant", "age_from", "age_to"]
    tiling = pl.DataFrame(tilings, schema=dict.fromkeys(names, pl.Int64), orient="row").select(
        "variant", "total_from", "total_to", range=_with_ages("family")
    )
    alike = stretch_of(counted, [name for name in KEY if not name.startswith("age")])
    aged = counted.select("cell", "age_from", "age_to", family=family, alike=alike)
    totals = aged.select(total="cell", of=_with_ages("alike"))
    parts = aged.select("alike", part="cell", range=_with_ages("family")).join(tiling, on="range")
    return parts.with_columns(of=_with_ages("alike", "total")).join(totals, on="of").select("total", "part", "variant")


def _with_ages(number: str, ages: str = "age") -> pl.Expr:
    """A whole number and a range of ages, which are less than 1000, as one whole number."""
    return (pl.col(number) * 1000 + pl.col(f"{ages}_from")) * 1000 + pl.col(f"{ages}_to")


def tilings_of(ranges: set[Range]) -> list[tuple[Range, int, list[Range]]]:
    """Every total of a set of age ranges with each way to tile it: (total, number of the way, its parts).

    A way uses up to two smaller totals, and the finest groups for the rest. A gap that no finest group fills is
    taken as known to the reader: that errs on the side of withholding.
    """
    totals = sorted(r for r in ranges if any(o != r and r[0] <= o[0] and o[1] <= r[1] for o in ranges))
    finest = sorted(ranges - set(totals))
    found = []
    for total in totals:
        inner = [t for t in totals if t != total and total[0] <= t[0] and t[1] <= total[1]]
        ways = [(), *((t,) for t in inner), *((a, b) for a, b in combinations(inner, 2) if a[1] < b[0])]
        for variant, used in enumerate(ways):
            rest = [
                g
                for g in finest
                if total[0] <= g[0]
                and g[1] <= total[1]
                and not any(t[0] <= g[0] and g[1] <= t[1] for t in used)
            ]
            found.append((total, variant, sorted([*used, *rest])))
    return found


def _twins(frame: pl.DataFrame) -> pl.DataFrame:
    """Neighbours in order of count that are as many. People of one group are compared over measures and bandings;
    rows of one site and period over what shares are out of."""
    is_whole = pl.col("family").str.starts_with("out of, ") | pl.col("family").is_in(_WHOLES)
    is_compared = (pl.col("kind") == "people") | ((pl.col("kind") == "rows") & is_whole)
    compared = frame.filter(is_compared & pl.col("count").is_not_null())
    cell, count, group = compared["cell"].to_numpy(), compared["count"].to_numpy(), in_order(compared, ["kind", *GROUP])
    order = np.lexsort((cell, count, group))
    is_alike = (np.diff(group[order]) == 0) & (np.diff(count[order]) == 0)
    pairs = pl.DataFrame({"total": cell[order][:-1][is_alike], "part": cell[order][1:][is_alike]})
    underweight = _same_band(frame, ("bmi_adult", "underweight"), ("bmi_adult_asian", "underweight"))
    return pl.concat([_pairs(pairs), underweight])


def _same_band(frame: pl.DataFrame, one: tuple[str, str], other: tuple[str, str]) -> pl.DataFrame:
    def of(banding: str, band: str, name: str) -> pl.DataFrame:
        return frame.filter(
            (pl.col("kind") == "band") & (pl.col("family") == f"banding {banding}") & (pl.col("band") == band)
        ).select(*GROUP, pl.col("cell").alias(name))

    return _pairs(of(*one, "total").join(of(*other, "part"), on=GROUP), variant=1)


# total band → its parts, each (banding, band); '' for a count between edges
_EDGES = {
    ("bmi_adult", "normal"): [("bmi_adult_asian", "acceptable_risk"), ("", "23 to 25")],
    ("bmi_adult_asian", "increased_risk"): [("", "23 to 25"), ("", "25 to 27.5")],
    ("bmi_adult", "overweight"): [("", "25 to 27.5"), ("", "27.5 to 30")],
    ("bmi_adult_asian", "high_risk"): [
        ("", "27.5 to 30"),
        ("bmi_adult", "obesity_1"),
        ("bmi_adult", "obesity_2"),
        ("bmi_adult", "obesity_3"),
    ],
}


def _edges(frame: pl.DataFrame) -> pl.DataFrame:
    is_band = pl.col("kind") == "band"
    banding = pl.when(is_band).then(pl.col("family").str.strip_prefix("banding ")).otherwise(pl.lit(""))
    named = frame.filter(pl.col("kind").is_in(["band", "between"])).with_columns(banding=banding)
    edges = pl.DataFrame(
        [(*total, *part) for total, parts in _EDGES.items() for part in parts],
        orient="row",
        schema={"total_banding": pl.String, "total_band": pl.String, "banding": pl.String, "band": pl.String},
    )
    if not named.filter(pl.col("kind") == "between").height:
        return pl.DataFrame(schema=_PAIR)
    totals = named.select(*GROUP, total_banding="banding", total_band="band", total="cell")
    parts = named.select(*GROUP, "banding", "band", part="cell").join(edges, on=["banding", "band"])
    return _pairs(parts.join(totals, on=[*GROUP, "total_banding", "total_band"]))


def _rows(frame: pl.DataFrame) -> pl.DataFrame:
    """Sums of data quality. Reasons and periods are only put in where they do add up: a row may have two reasons."""
    rows = frame.filter(pl.col("kind") == "rows")
    place = ["site", "period"]

    def of(*families: str) -> pl.DataFrame:
        return rows.filter(pl.col("family").is_in(families))

    def reasons(severity: str) -> pl.DataFrame:
        return rows.filter(band=severity)

    outcomes = of("rows_accepted", "rows_held", "rows_duplicate", "rows_superseded")
    whole = of("rows_accepted").filter(pl.col("period") == "")
    sums = [
        _adding_up(of("rows_read"), outcomes, place),
        _adding_up(of("out of, readings"), of("readings", SET_ASIDE), place),
        _adding_up(of(SET_ASIDE), reasons("set_aside"), place),
        _adding_up(of("rows_held"), reasons("hold"), place),
        _adding_up(whole, of("out of, readings"), ["site"]),
        _adding_up(of("total readings").with_columns(site=pl.lit("")), whole, ["site"]),
    ]
    return pl.concat([_pairs(pairs, variant) for variant, pairs in enumerate(sums)])


def _adding_up(totals: pl.DataFrame, parts: pl.DataFrame, on: list[str]) -> pl.DataFrame:
    """(total, part) pairs of the totals that their parts add up to."""
    pairs = parts.join(totals.select(*on, total="cell", whole="count"), on=on)
    return pairs.filter(pl.col("count").sum().over("total") == pl.col("whole")).select("total", part="cell")
