"""`evenbeam position`: one value on the published curves."""

from __future__ import annotations

import argparse
import sys

from pipeline.commands.option_types import add_programme, count, finite, place_in_percent

SENTENCE = "Say where one value stands on the published curves, or which value stands at a percentile."
EXAMPLE = "evenbeam position programme.toml --measure bmi --sex female --age 34 --value 27.4"


def add_options(parser: argparse.ArgumentParser) -> None:
    add_programme(parser)
    parser.add_argument("--measure", required=True, help="as in the published table")
    parser.add_argument("--sex", choices=["female", "male"], required=True, help="as in the published table")
    parser.add_argument("--age", type=count, required=True, metavar="YEARS", help="in whole years")
    asked = parser.add_mutually_exclusive_group(required=True)
    asked.add_argument("--value", type=finite, metavar="X", help="in the measure's unit: where does it stand?")
    asked.add_argument("--percentile", type=place_in_percent, metavar="P", help="between 0 and 100: which value is it?")


def does(options: argparse.Namespace) -> int:
    from pipeline.measures import MEASURES
    from pipeline.position import position as place

    rows = place(
        options.programme,
        measure=options.measure,
        sex=options.sex,
        age=options.age,
        value=options.value,
        percentile=options.percentile,
    )
    measure = MEASURES[options.measure]
    print(f"value ({measure.unit})\tz\tpercentile\treference")
    for reference, value, z, percentile in rows:
        cells = [(value, measure.decimals + 1), (z, 2)]
        shown = ["beyond" if number is None else f"{number:.{places}f}" for number, places in cells]
        print("\t".join([*shown, _percent(percentile), reference]))
    print(
        "where the people measured stand, not where anyone should; one reading is an estimate and no diagnosis"
        + (", and no target for a child" if options.age < 20 else ""),
        file=sys.stderr,
    )
    return 0


def _percent(percentile: float | None) -> str:
    """To a tenth, and never 0.0 or 100.0: somebody always lies beyond."""
    if percentile is None:
        return "beyond"
    if 0.1 <= percentile <= 99.9:
        return f"{percentile:.1f}"
    return "under 0.1" if percentile < 50 else "over 99.9"
