"""A period whose results are as they were is not protected again, and what is shown is the same. Mechanics."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import pytest
from invented_store import data_quality, fill, percentile, prevalence, programme_in

from pipeline.disclosure import protect
from pipeline.periods_apart import BY_PERIOD
from pipeline.programme import Disclosure, Programme
from pipeline.release import protected_view as module
from pipeline.release.periods_kept import FOLDER, RECORD
from pipeline.release.protected_view import protected_view
from pipeline.release.schema import TABLES
from pipeline.release.table import published_table
from pipeline.release.unsuppressed import TOTALS, Unsuppressed
from pipeline.store import Store

PERIODS = ("2025Q1", "2025Q2", "2025Q3")
KEYS = {"prevalence": ["banding", "band", "site", "period"], "percentile": ["measure", "site", "period", "percentile"]}


def in_each(rows: pl.DataFrame, periods: tuple[str, ...] = PERIODS) -> pl.DataFrame:
    return pl.concat([rows.with_columns(period=pl.lit(period)) for period in periods])


def people() -> pl.DataFrame:
    """Everybody in every period, at all sites and each."""
    return in_each(data_quality()).with_columns(item=pl.lit("people"))


class View:
    """A store with three periods, and which of them were protected when it was looked at."""

    def __init__(self, folder: Path, store: Store):
        self.programme, self.store = programme_in(folder), store
        self.programme.store.mkdir()
        fill(
            store,
            prevalence=in_each(prevalence()),
            percentile=in_each(percentile()),
            data_quality=pl.concat([data_quality(), people()]),
        )
        self.protected: list[str] = []

    def look(self) -> dict[str, pl.DataFrame]:
        """Every table as it is published, and the totals."""
        self.protected.clear()
        view = protected_view(Unsuppressed(self.store, self.rules), self.programme, lambda *_: None)
        by_period = {name: pl.concat([period.rows(name) for period in view.periods]) for name in BY_PERIOD}
        return published(by_period | view.rest)

    @property
    def rules(self) -> Disclosure:
        return self.programme.settings.disclosure

    def change(self, **rules) -> None:
        disclosure = self.rules.model_copy(update=rules)
        settings = self.programme.settings.model_copy(update={"disclosure": disclosure})
        self.programme = Programme(self.programme.path, settings, {}, self.programme.sha256)

    @property
    def kept(self) -> Path:
        return self.programme.store / FOLDER


def published(tables: dict[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    made = {table.name: published_table(table, tables[table.name]) for table in TABLES}
    return {name: rows.cast({pl.Categorical: pl.String}) for name, rows in made.items()} | {TOTALS: tables[TOTALS]}


@pytest.fixture
def view(tmp_path, monkeypatch):
    with Store.open(None) as store:
        made = View(tmp_path, store)

        def watched(tables, rules, **how):
            made.protected += tables["prevalence"]["period"].unique().to_list()
            return module_protects(tables, rules, **how)

        module_protects = module.protect_period
        monkeypatch.setattr(module, "protect_period", watched)
        yield made


def same(one: dict[str, pl.DataFrame], other: dict[str, pl.DataFrame]) -> bool:
    order = {name: KEYS.get(name, one[name].columns) for name in one}
    return one.keys() == other.keys() and all(
        one[name].sort(order[name], nulls_last=False).equals(other[name].sort(order[name], nulls_last=False))
        for name in one
    )


def test_every_period_is_protected_once_and_then_kept(view):
    first = view.look()
    assert view.protected == list(PERIODS)
    assert same(first, view.look()) and view.protected == []


def test_what_is_kept_is_what_all_periods_together_give(view):
    view.look()
    whole = protect(Unsuppressed(view.store, view.rules).whole(), view.rules, is_proved=False)
    assert same(view.look(), published(whole)) and view.protected == []


def test_the_small_count_does_not_follow_in_any_period(view):
    view.look()
    shown = view.look()["prevalence"].filter(band="excess")
    assert shown.filter(site="east-pier").is_empty()
    told = shown.group_by("period").agg(pl.col("n").is_not_null().sum()).sort("period")
    assert told["n"].to_list() == [1] * 3  # of 34 at all sites and 30 at the other one


def test_only_a_period_with_other_results_is_protected_again(view):
    view.look()
    view.store.execute("update result.prevalence set low = 0.2 where period = '2025Q2' and site is null")
    assert 0.2 in view.look()["prevalence"].filter(period="2025Q2")["low"].to_list()
    assert view.protected == ["2025Q2"]


def test_a_period_with_another_number_of_people_is_protected_again(view):
    view.look()
    view.store.execute(
        "update result.data_quality set n = n + 1, denominator = n + 1 "
        "where period = '2025Q3' and site in ('', 'north-quay')"
    )
    view.look()
    assert view.protected == ["2025Q3"]


def test_another_order_of_rows_is_the_same_period(view):
    view.look()
    for name in KEYS:
        rows = view.store.frame(f"select * from result.{name}")
        with view.store.transaction():
            view.store.replace_rows(f"result.{name}", rows.reverse())
    view.look()
    assert view.protected == []


@pytest.mark.parametrize("rules", [{"minimum_count": 11}, {"minimum_people_for_percentile": 31}])
def test_other_rules_protect_everything_again(view, rules):
    view.look()
    view.change(**rules)
    view.look()
    assert view.protected == list(PERIODS)


def test_another_program_protects_everything_again(view, monkeypatch):
    view.look()
    monkeypatch.setattr(module, "program_digest", lambda *_: "another")
    view.look()
    assert view.protected == list(PERIODS)


def test_rounding_is_of_what_is_kept(view):
    view.look()
    view.change(rounding=5)
    rounded = view.look()["prevalence"].drop_nulls("n")
    assert (rounded["n"] % 5 == 0).all() and (rounded["denominator"] % 5 == 0).all()
    view.change(rounding=None)
    assert 34 in view.look()["prevalence"]["n"].to_list()


@pytest.mark.parametrize(
    "damage",
    [
        lambda folder: (folder / RECORD).unlink(),
        lambda folder: (folder / RECORD).write_text("{"),
        lambda folder: (folder / RECORD).write_text("[]"),
        lambda folder: (folder / "percentile.parquet").unlink(),
        lambda folder: (folder / "percentile.parquet").write_bytes(b"PAR1"),
    ],
)
def test_what_is_kept_and_damaged_is_made_again(view, damage):
    first = view.look()
    damage(view.kept / "2025Q2")
    assert same(first, view.look()) and view.protected == ["2025Q2"]
    assert same(first, view.look()) and view.protected == []


def test_a_figure_that_somebody_put_in_is_not_shown(view):
    """The digest of the file tells, though the file is a sound one."""
    first = view.look()
    path = view.kept / "2025Q2" / "prevalence.parquet"
    none = pl.lit(None, pl.Categorical)
    pl.read_parquet(path).with_columns(n=pl.lit(4, pl.Int64), flag=none).write_parquet(path)
    assert same(first, view.look()) and view.protected == ["2025Q2"]


def test_nothing_is_kept_of_a_period_that_is_gone(view):
    view.look()
    for name in ("prevalence", "percentile", "data_quality"):
        view.store.execute(f"delete from result.{name} where period = '2025Q1'")
    view.store.execute("delete from ledger.percentile_digest")  # as whoever writes percentiles does
    view.look()
    assert sorted(path.name for path in view.kept.iterdir()) == ["2025Q2", "2025Q3"]


def test_what_cannot_be_kept_costs_time_and_nothing_else(view):
    view.kept.write_text("in the way")
    first = view.look()
    assert same(first, view.look()) and view.protected == list(PERIODS)


def test_what_is_kept_holds_no_withheld_count(view):
    view.look()
    for path in view.kept.rglob("prevalence.parquet"):
        rows = pl.read_parquet(path)
        assert 34 in rows["n"] and not {4, 30} & set(rows["n"])
    assert json.loads((view.kept / "2025Q1" / RECORD).read_text())["tables"].keys() >= KEYS.keys()


def test_a_group_too_small_for_percentiles_is_read_once(view):
    rows = in_each(percentile()).with_columns(n=pl.when(pl.col("period") == "2025Q2").then(29).otherwise("n"))
    with view.store.transaction():
        view.store.replace_rows("result.percentile", rows)
    read = Unsuppressed(view.store, view.rules).whole()["percentile"]
    assert read.group_by("period").len().sort("period")["len"].to_list() == [2, 1, 2]
    assert view.look()["percentile"]["period"].unique().sort().to_list() == ["2025Q1", "2025Q3"]


def test_without_periods_there_are_tables_without_rows(tmp_path):
    with Store.open(None) as store:
        programme = programme_in(tmp_path)
        programme.store.mkdir()
        rules = programme.settings.disclosure
        found = protected_view(Unsuppressed(store, rules), programme, lambda *_: None)
    rows = found.periods[0].rows("prevalence")
    assert rows.is_empty() and "proportion" in rows.columns
