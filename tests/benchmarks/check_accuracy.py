"""How many of the demo programme's faults the checks find, and how many sound rows they accuse.

    python tests/benchmarks/check_accuracy.py [--readings 60000] [--seed 7] [--folder FOLDER]

makes a demo programme, runs intake and checks over it, compares with the truth beside it, prints the table and
writes it to tests/benchmarks/results/check_accuracy.md.

The faults are invented, by the same project that looks for them: the table shows that the checks do what they say
on faults of these shapes, not how often real sites make them. Limits were chosen while looking at the demo's own
seed; this uses another.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import polars as pl

from pipeline.intake import receive
from pipeline.programme import Programme
from pipeline.readings import build_readings
from pipeline.store import Store
from synthetic_cohort.generate import generate

RESULTS = Path(__file__).parent / "results" / "check_accuracy.md"
AS_OF = date(2026, 1, 15)
HELD_OR_ASIDE = frozenset({"held", "set_aside"})


@dataclass(frozen=True)
class Kind:
    """A kind of fault, what has to become of the row, which codes name it, and what a site must send to show it."""

    caught_as: frozenset[str]  # held, set_aside, dropped (duplicate or superseded), flag
    codes: tuple[str, ...]  # without the field after the colon
    needs_any: tuple[tuple[str, ...], ...] = ()  # sets of fields, one of which the site must export
    needs_others: int = 0  # other accepted readings that the person must have


KINDS: dict[str, Kind] = {
    "weight_height_swapped": Kind(HELD_OR_ASIDE, ("weight_height_exchanged",)),
    "height_inches_in_cm": Kind(HELD_OR_ASIDE, ("height_in_inches",)),
    "weight_pounds_in_kg": Kind(
        HELD_OR_ASIDE, ("weight_in_pounds",), (("bmi",), ("fat_mass", "fat_free_mass"), ("body_fat_percent",))
    ),
    "decimal_slip": Kind(HELD_OR_ASIDE, ("decimal_slip",)),
    "impossible_value": Kind(HELD_OR_ASIDE, ("out_of_range",)),
    "missing_required": Kind(HELD_OR_ASIDE, ("missing",)),
    "cut_off_line": Kind(HELD_OR_ASIDE, ("row_cut_off",)),
    "totals_row": Kind(HELD_OR_ASIDE, ("not_a_reading",)),
    "wrong_sex": Kind(HELD_OR_ASIDE, ("sex_changes",), needs_others=2),
    "clothing_weight_forgotten": Kind(
        frozenset({"flag"}), ("clothing_weight_not_set",), (("clothing_weight",),)
    ),
    "wrong_athlete_mode": Kind(
        frozenset({"flag"}),
        ("athlete_mode_not_supported", "athlete_mode_missing"),
        (("athlete_mode", "resting_heart_rate", "cardio_hours_per_week"),),
    ),
    "duplicated_row": Kind(frozenset({"dropped"}), ()),
    "corrected_row": Kind(
        HELD_OR_ASIDE | {"dropped"},
        (
            "weight_disagrees",
            "bmi_disagrees",
            "mass_balance",
            "fat_percent_disagrees",
            "water_percent_disagrees",
        ),
    ),
}

FOUND = """
select
    file.site, file.name as file, row.line, row.outcome, row.codes, row.participant
from (
    select file_id, line, 'held' as outcome, codes, null as participant from ledger.held_row
    union all
    select accepted.file_id, accepted.line,
        case when aside.reading_id is null then 'accepted' else 'set_aside' end,
        list_concat(coalesce(aside.codes, []), accepted.flags), accepted.participant
    from reading.accepted as accepted
    left join (
        select reading_id, list(code order by code) as codes from reading.set_aside group by reading_id
    ) as aside on aside.reading_id = accepted.reading_id
) as row
join ledger.file as file on file.file_id = row.file_id
order by file.site, file.name, row.line
"""
READ_FILES = "select distinct site, name as file from ledger.file where state = 'accepted' order by all"


def outcomes(store: Store, programme: Programme, truth: Path) -> pl.DataFrame:
    """One row a row of the files that were read: its fault (empty: sound), what became of it, the codes it got.

    Rows of files that were refused, held whole or already received are left out: no check saw them.
    """
    key = ["site", "file", "line"]
    rows = pl.read_parquet(truth / "readings" / "*.parquet").select(*key, "fault")
    faults = pl.read_parquet(truth / "faults.parquet").select(*key, pl.col("kind").alias("fault"))
    rows = pl.concat([rows.join(faults, on=key, how="anti"), faults]).join(
        store.frame(READ_FILES), on=["site", "file"]
    )
    found = store.frame(FOUND)
    people = found.filter(pl.col("participant").is_not_null()).group_by("participant").len("n_readings")
    found = found.join(people, on="participant", how="left").drop("participant")
    fields = pl.DataFrame(
        {
            "site": list(programme.profiles),
            "fields": [list(profile.columns) for profile in programme.profiles.values()],
        }
    )
    return (
        rows.join(found, on=key, how="left")
        .join(fields, on="site")
        .with_columns(pl.col("outcome").fill_null("dropped"), pl.col("codes").fill_null([]))
        .with_columns(pl.col("codes").list.eval(pl.element().str.split(":").list.first()).alias("names"))
        .sort(key)
    )


def score(rows: pl.DataFrame) -> pl.DataFrame:
    """One row a kind of fault: how many there are, can be seen, were caught and rightly named; false alarms."""
    sound = rows.filter(pl.col("fault") == "")
    table = []
    for name, kind in KINDS.items():
        faulty = rows.filter(pl.col("fault") == name)
        seen = faulty.filter(_can_be_seen(kind))
        table.append(
            {
                "fault": name,
                "rows": faulty.height,
                "cannot_be_seen": faulty.height - seen.height,
                "caught_unseen": faulty.filter(~_can_be_seen(kind)).filter(_is_caught(kind)).height,
                "caught": seen.filter(_is_caught(kind)).height,
                "named": seen.filter(_is_named(kind)).height,
                "can_be_seen": seen.height,
                "false_alarms": sound.filter(_is_named(kind)).height if kind.codes else 0,
                "sound_rows": sound.height,
            }
        )
    return pl.DataFrame(table).with_columns(
        recall=pl.col("caught") / pl.col("can_be_seen"),
        false_alarm_rate=pl.col("false_alarms") / pl.col("sound_rows"),
    )


def sound_rows_lost(rows: pl.DataFrame) -> pl.DataFrame:
    """Sound rows that do not count although nothing is wrong with them: outcome, first code, n, share."""
    sound = rows.filter(pl.col("fault") == "")
    return (
        sound.filter(pl.col("outcome").is_in(HELD_OR_ASIDE))
        .group_by("outcome", pl.col("names").list.first().alias("code"))
        .len("n")
        .with_columns(share=pl.col("n") / sound.height)
        .sort("outcome", "code")
    )


def _can_be_seen(kind: Kind) -> pl.Expr:
    visible = pl.lit(True)
    if kind.needs_any:
        visible = pl.any_horizontal(
            *(
                pl.all_horizontal(*(pl.col("fields").list.contains(name) for name in names))
                for names in kind.needs_any
            )
        )
    if kind.needs_others:  # a row that was held for its own sake has no count, and no need of one
        visible = visible & (pl.col("n_readings").fill_null(99) > kind.needs_others)
    return visible


def _is_named(kind: Kind) -> pl.Expr:
    return pl.any_horizontal(pl.lit(False), *(pl.col("names").list.contains(code) for code in kind.codes))


def _is_caught(kind: Kind) -> pl.Expr:
    by_outcome = pl.col("outcome").is_in(kind.caught_as)
    return by_outcome | _is_named(kind) if "flag" in kind.caught_as else by_outcome


def markdown(table: pl.DataFrame, lost: pl.DataFrame, arguments: str) -> str:
    """The table as it is kept in results/."""
    lines = [
        "# What the checks find in the demo programme",
        "",
        f"Made by `python tests/benchmarks/check_accuracy.py {arguments}`: invented readings with invented "
        "faults. The limits were chosen while looking at seed 20250101, the demo's own.",
        "",
        "- *cannot be seen*: the site does not send a field that would show it, or the person has fewer than two other "
        "readings; not part of the recall. In brackets those caught all the same.",
        "- *recall*: held, set aside, flagged or dropped as the kind asks, out of those that can be seen.",
        "- *named*: caught, and with the code made for this kind.",
        "- *false alarms*: sound rows with that code, out of all sound rows.",
        "",
        "| fault | rows | cannot be seen | can be seen | recall | named | false alarms |",
        "|---|--:|--:|--:|--:|--:|--:|",
    ]
    for row in table.iter_rows(named=True):
        unseen = f"{row['cannot_be_seen']} ({row['caught_unseen']})" if row["cannot_be_seen"] else "0"
        named = (
            f"{row['named'] / row['can_be_seen']:.1%}"
            if KINDS[row["fault"]].codes and row["can_be_seen"]
            else "–"
        )
        recall = f"{row['recall']:.1%}" if row["can_be_seen"] else "–"
        alarms = (
            f"{row['false_alarms']} ({row['false_alarm_rate']:.3%})" if KINDS[row["fault"]].codes else "–"
        )
        cells = (row["fault"], row["rows"], unseen, row["can_be_seen"], recall, named, alarms)
        lines.append(f"| {' | '.join(map(str, cells))} |")
    sound = table["sound_rows"][0]
    lines += [
        "",
        f"Sound rows that were held or set aside, for whatever reason: {lost['n'].sum()} of {sound} "
        f"({lost['n'].sum() / sound:.3%}).",
        "",
        "| outcome | code | rows | share |",
        "|---|---|--:|--:|",
    ]
    lines += [f"| {outcome} | {code} | {n} | {share:.3%} |" for outcome, code, n, share in lost.iter_rows()]
    return "\n".join(lines) + "\n"


def run(folder: Path) -> pl.DataFrame:
    """Receive and check a demo programme's files in a store in memory; the outcome of every row."""
    programme = Programme.read(folder)
    with Store.open(None, may_read=[programme.folder]) as store:
        receive(
            store,
            programme,
            as_of=AS_OF,
            received_at=datetime(2026, 1, 15),
            run_id=1,
            progress=lambda done, total, what: None,
        )
        with store.transaction():
            build_readings(store, programme)
        return outcomes(store, programme, folder / "truth")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--readings", type=int, default=60_000)
    parser.add_argument(
        "--seed", type=int, default=7, help="not the demo's own, which the limits were chosen on"
    )
    parser.add_argument("--folder", type=Path, help="a demo programme that is there already")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = arguments.folder or Path(scratch) / "programme"
        if arguments.folder is None:
            generate(folder, readings=arguments.readings, seed=arguments.seed)
        rows = run(folder)
    how = (
        "--folder FOLDER" if arguments.folder else f"--readings {arguments.readings} --seed {arguments.seed}"
    )
    text = markdown(score(rows), sound_rows_lost(rows), how)
    RESULTS.parent.mkdir(exist_ok=True)
    RESULTS.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
