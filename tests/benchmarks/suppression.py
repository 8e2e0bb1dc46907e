"""Time of suppression, audit and guard, and the information lost, on invented quarters of 24, 200 and 1,000 sites; and
how far the heuristic is from the optimum on tables small enough for both.

Run   python tests/benchmarks/suppression.py [SITES ...]              every way, and the optimum
      python tests/benchmarks/suppression.py fast|proved|guard SITES  one way alone; proved is audited too
Out   the terminal; tests/benchmarks/results/suppression.md keeps the tables.
"""

from __future__ import annotations

import sys
import time
from itertools import product

import numpy as np
import polars as pl

from pipeline import measures
from pipeline.audit import audit_tables
from pipeline.disclosure import protect
from pipeline.disclosure.between_releases import exposures, with_earlier_figures
from pipeline.disclosure.cells import cells_of
from pipeline.disclosure.equations import equations_of
from pipeline.disclosure.losses import Losses, with_company
from pipeline.disclosure.primary import sensitive_cells
from pipeline.disclosure.suppression import suppressed
from pipeline.programme import Disclosure

SITES = (24, 200, 1000)
PEOPLE_A_SITE = 310  # of the demo: 60,000 readings, 24 sites, 8 quarters
AGES = [(20, 29), (30, 39), (40, 49), (50, 59), (60, 69), (70, 79)]
SHARES = {
    "bmi_adult": (0.02, 0.38, 0.35, 0.16, 0.06, 0.03),
    "hydration": (0.2, 0.72, 0.08),
    "visceral_fat": (0.75, 0.25),
    "body_fat": (0.05, 0.4, 0.33, 0.22),
}
RULES = Disclosure()


def invented_quarter(
    sites: int,
    seed: int = 0,
    ages: int = 6,
    bandings: tuple[str, ...] = tuple(SHARES),
    people_a_site: int = PEOPLE_A_SITE,
    late: int = 0,
) -> dict[str, pl.DataFrame]:
    """prevalence and percentile of one quarter: sites of unequal size, each with its own mix of ages and sexes.

    late: so many more women of the first age group and band at every tenth site, all others as without.
    """
    chance = np.random.default_rng(seed)
    size = people_a_site * chance.lognormal(-0.32, 0.8, sites)
    mix = chance.dirichlet(np.full(2 * ages, 3.0), sites).reshape(sites, 2, ages)
    people = chance.poisson(size[:, None, None] * mix)
    rows, counts = [], []
    for banding in bandings:
        measured = chance.binomial(people, chance.choice([1.0, 0.97], sites)[:, None, None])
        cells = chance.multinomial(measured.ravel(), SHARES[banding]).reshape(*people.shape, -1)
        cells[::10, 0, 0, 0] += late
        rows.append(_rows(cells, AGES[:ages]).with_columns(banding=pl.lit(banding)))
    names = pl.concat(
        pl.DataFrame({"banding": name, "at": list(range(len(SHARES[name]))),
                      "band": [band.name for band in measures.BANDINGS[name].bands]}) for name in bandings
    )  # fmt: skip
    prevalence = pl.concat(rows).join(names, on=["banding", "at"], maintain_order="left")
    people[::10, 0, 0] += late
    counts = _rows(people[..., None], AGES[:ages])
    place = ["site", "sex", "age_from", "age_to"]
    return {
        "prevalence": prevalence.select(
            "banding", "band", *place, "n", "denominator", period=pl.lit("2025Q1"),
            population=pl.when(pl.col("site").is_null()).then(pl.lit("all")).otherwise(pl.lit("site")),
            proportion=pl.col("n") / pl.col("denominator"), flag=pl.lit(None, dtype=pl.String),
        ),
        "percentile": counts.select(
            *place, "n", measure=pl.lit("weight"), period=pl.lit("2025Q1"), percentile=pl.lit(50), value=pl.lit(70.0),
            low=pl.lit(69.0), high=pl.lit(71.0), unit=pl.lit("kg"), method=pl.lit("invented"),
            flag=pl.lit(None, dtype=pl.String),
        ),
    }  # fmt: skip


def _rows(cells: np.ndarray, ages: list[tuple[int, int]]) -> pl.DataFrame:
    """(sites, 2, ages, bands) → site, sex, ages, at, n, denominator, with every total and without empty groups."""
    parts = []
    whole = (ages[0][0], ages[-1][1])
    for site, sex, total in product((True, False), ("all", "female", "male"), (True, False)):
        part = cells if site else cells.sum(axis=0, keepdims=True)
        part = part.sum(axis=1) if sex == "all" else part[:, ("female", "male").index(sex)]
        part = part.sum(axis=1, keepdims=True) if total else part
        at = np.indices(part.shape)
        names = [f"site-{i:04}" if site else None for i in range(part.shape[0])]
        spans = [whole] if total else ages
        parts.append(
            pl.DataFrame(
                {
                    "site": pl.Series(names, dtype=pl.String).gather(at[0].ravel()),
                    "age_from": np.array([a for a, _ in spans])[at[1].ravel()],
                    "age_to": np.array([b for _, b in spans])[at[1].ravel()],
                    "at": at[2].ravel(),
                    "n": part.ravel(),
                    "denominator": np.broadcast_to(part.sum(axis=2, keepdims=True), part.shape).ravel(),
                }
            ).with_columns(sex=pl.lit(sex))
        )
    return pl.concat(parts).filter(pl.col("denominator") > 0)


def measured(sites: int, way: str) -> str:
    """One line: what one quarter loses and what it takes, in processor seconds; `way` is fast or proved."""
    tables = invented_quarter(sites)
    spent = time.process_time()
    protected = protect(tables, RULES, is_proved=way == "proved")
    seconds = time.process_time() - spent
    published, every = protected["prevalence"], tables["prevalence"]
    lost = every.height - published["n"].count()
    people = 1 - published["n"].sum() / every["n"].sum()
    sums = published.filter(population="all")["n"].count() / every.filter(population="all").height
    own = every["n"].is_between(1, RULES.minimum_count - 1).sum()
    line = (
        f"| {sites:,} | {way} | {every.height:,} | {own:,} | {lost:,} ({lost / every.height:.1%}) | {people:.1%} | "
        f"{sums:.1%} | {seconds:.1f} |"
    )
    if way != "proved":
        return f"{line} |  |  |"
    print(f"{line} audit follows", file=sys.stderr, flush=True)
    spent = time.process_time()
    audit = audit_tables(tables, protected, RULES)
    return f"{line} {audit.cells.height:,} | {audit.breaches.height} | {time.process_time() - spent:.1f} |"


def guarded(sites: int) -> str:
    """One line: the guard over two versions of a quarter, the later with forty more people at every tenth site."""
    quarters = (invented_quarter(sites, late=late) for late in (0, 40))
    one, other = (protect(tables, RULES, is_proved=False) for tables in quarters)
    keys = {
        "prevalence": ("banding", "band", "population", "site", "period", "sex", "age_from", "age_to"),
        "percentile": ("measure", "site", "period", "sex", "age_from", "age_to", "percentile"),
    }
    spent = time.process_time()
    found = exposures(one, other, RULES.minimum_count).height
    looked = time.process_time() - spent
    spent = time.process_time()
    kept = with_earlier_figures([one], other, RULES.minimum_count, keys)
    mended = time.process_time() - spent
    left = exposures(one, kept, RULES.minimum_count).height
    return f"| {sites:,} | {found:,} | {looked:.1f} | {left} | {mended:.1f} |"


def against_the_optimum(tables: int = 60) -> list[str]:
    """Loss over the optimum, both under the same rule and company, in cells and in people times figures."""
    cells_lost, price_lost, equal = [], [], 0
    for seed in range(tables):
        made = invented_quarter(3, seed, ages=1, bandings=("visceral_fat",), people_a_site=60)["prevalence"]
        cells = cells_of({"prevalence": made})
        equations, sensitive = equations_of(cells), sensitive_cells(cells, RULES.minimum_count)
        losses = Losses.of(cells, equations)
        if not sensitive.any():
            continue
        heuristic, _ = suppressed(cells, equations, sensitive, RULES.minimum_count, small=0)
        exact, _ = suppressed(cells, equations, sensitive, RULES.minimum_count, small=2000)
        least = with_company(sensitive, losses)
        more, fewest = (heuristic & ~least).sum(), (exact & ~least).sum()
        dear, cheap = losses.price[heuristic].sum(), losses.price[exact].sum()
        cells_lost.append((heuristic.sum(), exact.sum(), more, fewest))
        price_lost.append(dear / cheap - 1)
        equal += bool(dear <= cheap * (1 + 1e-9))
    h, o, more, fewest = np.array(cells_lost).sum(axis=0)
    return [
        f"{len(price_lost)} tables of 3 sites, 2 sexes, all ages, 2 bands and some 60 people a site. Cells withheld: "
        f"{h} by the heuristic, {o} at the optimum; beyond what goes by itself {more} and {fewest}. The heuristic is "
        f"as good in {equal} tables, costs {np.mean(price_lost):.1%} more on average, {np.max(price_lost):.1%} at most."
    ]


HEAD = (
    "| sites | way | figures | of 1 to 9 people | withheld or left out | people in them | all sites shown | CPU s | "
    "sensitive counts audited | unprotected | audit, CPU s |",
    "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
)
GUARD_HEAD = (
    "| sites | counts that two versions expose | guard, CPU s | after earlier figures are kept | that, CPU s |",
    "| --- | --- | --- | --- | --- |",
)


def main(words: list[str]) -> None:
    if words and not words[0].isdigit():
        way, sites = words[0], [int(word) for word in words[1:]]
        for number in sites:
            print(guarded(number) if way == "guard" else measured(number, way), flush=True)
        return
    sites = [int(word) for word in words] or list(SITES)
    print(*HEAD, sep="\n")
    for number in sites:
        for way in ("fast", "proved"):
            print(measured(number, way), flush=True)
    print("", *GUARD_HEAD, *(guarded(number) for number in sites), "", *against_the_optimum(), sep="\n")


if __name__ == "__main__":
    main(sys.argv[1:])
