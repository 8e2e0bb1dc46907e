"""The results of the simulations, put together as docs/recovery.md: `python tests/benchmarks/recovery_page.py`.

Nothing is computed here: figures are copied from tests/benchmarks/results/, and a test fails when the page is not what
the results make it.
"""

from __future__ import annotations

from pathlib import Path

from coverage_table import RESULTS, SHORT, WIDE, rows_in

PAGE = Path(__file__).parents[2] / "docs" / "recovery.md"
COVERAGE = (
    "coverage_of_proportions",
    "coverage_of_standardised",
    "coverage_of_percentiles",
    "coverage_of_sites",
    "coverage_of_trends",
    "coverage_of_curves",
    "coverage_of_quantile_curves",
)
OTHERS = ("recovery_of_curves", "site_flag_simulation")

OPENING = f"""# What the figures recover

Programmes are invented whose truth is known, the project's own functions make figures of them, and the figures are
held against the truth. `make bench` runs everything again and renews this page; what is on it takes about ten minutes
of one processor. No figure of a table is typed by hand.

Every published interval promises 95 %. Coverage is the share of replicates in which the interval held the truth,
and ± is two standard errors of the simulation itself. An interval is called *short* where coverage plus two
standard errors is under {SHORT:g} %, *wide* where coverage less two standard errors is over {WIDE:g} %, and
otherwise it *holds*. Settings are friendly and unfriendly on purpose: few sites, one site with half of the people,
rare bands, people who are alike within a site, people seen again and again. The position beside WHO 2007 has
the interval of prevalence. Intervals of analysers are told of in
[their operating curve](../tests/benchmarks/results/device_operating_curve.md).

## In short
"""

SHORTFALLS = """
What falls short, and why it stays so:

- **A site's own share**, where people come in groups that no file names: the readings do not tell who came together.
- **Bands at the first and last ages of a curve**: the curve is drawn towards a straight line there, the penalty's share
  of the variance is right on average over ages only, and that the smoothing was itself estimated is not in it.
- **Bands of regression quantiles at the first and last ages** are a point or two under 95: the density of values that
  the width stands on is unsteady there, and changes within the band, above all between two humps of values.
- **Few people from outside the family**: with 500, regression quantiles and LMS curves differ by no more than chance
  allows about as often as not, LMS is kept, and its upper percentiles are off. More people are the remedy.
- **Intervals that are wide**: with two to four sites, or one that holds most of the people, hardly anything tells how
  much sites differ; Fay and Feuer's takes people in a band as Poisson, which they are not where the band is common.
- **Sites that differ are often not named**: see the last section for the power that protection from false names costs.
"""


def page() -> str:
    texts = {name: (RESULTS / f"{name}.md").read_text(encoding="utf-8") for name in COVERAGE + OTHERS}
    summary = "\n".join([_HEAD, *(line for name in COVERAGE for line in _summary(rows_in(texts[name])))])
    return "\n".join([OPENING, summary, SHORTFALLS, *(_demoted(text) for text in texts.values())]).rstrip() + "\n"


_HEAD = "\n".join(
    [
        "| interval | settings | least coverage, % | where | most, % | short in | wide in |",
        "| --- | ---: | ---: | --- | ---: | ---: | ---: |",
    ]
)


def _summary(rows: list[dict[str, str]]) -> list[str]:
    """A line an interval: the settings in which it covers least and most."""
    lines = []
    for interval in dict.fromkeys(row["interval"] for row in rows):
        of = [row for row in rows if row["interval"] == interval]
        least, most = (choose(of, key=lambda row: float(row["covers %"])) for choose in (min, max))
        short, wide = (sum(row["verdict"] == verdict for row in of) for verdict in ("short", "wide"))
        lines.append(
            f"| {interval} | {len(of)} | {least['covers %']} | {least['setting']} | {most['covers %']} | "
            f"{short or '–'} | {wide or '–'} |"
        )
    return lines


def _demoted(text: str) -> str:
    """A page of results as a section: headings one level down."""
    return "\n".join("#" + line if line.startswith("#") else line for line in text.splitlines()) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(f"wrote {PAGE.relative_to(PAGE.parents[1])}")
