"""A publication stands while one made now would say nothing else, and is made anew when it would. Mechanics."""

from __future__ import annotations

import json
import os
import shutil
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from invented_store import data_quality, fill, prevalence, programme_in

import dashboards
from pipeline import publishing
from pipeline.periods_apart import BY_PERIOD
from pipeline.programme import Disclosure, Programme
from pipeline.release import basis, contents, protected_view, standing
from pipeline.release import publish as publish_module
from pipeline.release.contents import Content, content_of, contents_of, digest_of
from pipeline.release.publish import publish
from pipeline.release.schema import TABLES
from pipeline.release.versions import MARK, NEXT_LINK, UNFINISHED, VERSIONS
from pipeline.store import Store

AS_OF = date(2025, 5, 1)  # 31 days after the last of March: a site of which a reading a month is expected is in time
PO = 'msgid ""\nmsgstr ""\n"Language: cy\\n"\n"Content-Type: text/plain; charset=UTF-8\\n"\n'


class House:
    """A programme with results, and runs of its last step."""

    def __init__(self, folder: Path, store: Store):
        self.folder, self.store = folder, store
        self.programme = programme_in(folder)
        self.programme.store.mkdir()
        self.change(site=[site.model_copy(update={"expected": "monthly"}) for site in self.programme.settings.site])
        fill(store)
        self.quality("2025Q1")

    def quality(self, period: str) -> None:
        """Rows without a period, and a last period with readings of each site."""
        last = data_quality().with_columns(period=pl.lit(period), item=pl.lit("readings"))
        self.results(data_quality=pl.concat([data_quality(), last]))

    def results(self, **tables: pl.DataFrame) -> None:
        with self.store.transaction():
            for name, rows in tables.items():
                self.store.replace_rows(f"result.{name}", rows)

    def change(self, **settings) -> None:
        """Other settings, not told by their digest."""
        changed = self.programme.settings.model_copy(update=settings)
        self.programme = Programme(self.programme.path, changed, {}, self.programme.sha256)

    def run(self, as_of: date = AS_OF, *, is_day_given: bool = False, is_asked_for: bool = False):
        return publishing.bring_up_to_date(
            self.store, self.programme, as_of, is_day_given=is_day_given, is_asked_for=is_asked_for,
            progress=lambda *_: None,
        )

    @property
    def latest(self) -> Path:
        return self.programme.published / "latest"

    def files(self) -> dict[str, tuple[bytes, int, int]]:
        """Every file with its content, the moment it was written, and its place on the disk."""
        return {
            str(path.relative_to(self.latest)): (path.read_bytes(), path.stat().st_mtime_ns, path.stat().st_ino)
            for path in sorted(self.latest.rglob("*"))
            if path.is_file()
        }


def pages(folder: Path, assets: Path | None = None) -> None:
    (folder / "index.html").write_text("<title>page</title>")
    (folder / "assets").mkdir()
    (folder / "assets" / "vega.js").write_text("made" if assets is None else (assets / "vega.js").read_text())


@pytest.fixture
def house(tmp_path, monkeypatch):
    monkeypatch.setattr(dashboards, "build_pages", pages)
    with Store.open(None) as store:
        made = House(tmp_path, store)
        assert made.run().is_new
        yield made


def test_where_nothing_is_new_no_file_is_touched(house):
    before = house.files()
    kept = house.run()
    assert not kept.is_new and kept.path == house.latest and kept.as_of == AS_OF
    assert house.files() == before and len(before) > 40
    assert "nothing new to publish" in kept.sentence() and "2025-05-01" in kept.sentence()


def test_where_nothing_looks_changed_no_file_is_read_and_what_only_looks_changed_is_read_once(house, monkeypatch):
    read = []
    monkeypatch.setattr(contents, "content_of", lambda path: read.append(path.name) or content_of(path))
    assert not house.run().is_new and read == []
    os.utime(house.latest / "index.html")
    for expected in (["index.html"], []):
        assert not house.run().is_new and read == expected
        read.clear()


def test_one_that_was_copied_back_from_a_backup_stands(house, tmp_path):
    version = house.latest.resolve()
    shutil.copytree(version, tmp_path / "backup")
    shutil.rmtree(version)
    shutil.copytree(tmp_path / "backup", version)
    assert not house.run().is_new


def test_what_it_stands_on_is_kept_in_the_store_for_nobody_else(house):
    path = house.programme.store / standing.FILE
    assert path.stat().st_mode & 0o777 == 0o600
    kept = json.loads(path.read_text())
    files = {name: Content(*told) for name, told in kept["files"].items()}
    assert digest_of(files) == digest_of(contents_of(house.latest)) and kept["version"] == house.latest.readlink().name
    assert {"program", "settings", "language", "noise", "result.total", "period.2025Q1"} <= set(kept["basis"])
    told = b"".join(content for content, _, _ in house.files().values())
    of_results = [digest for name, digest in kept["basis"].items() if name.startswith(("result.", "period."))]
    assert not any(digest.encode() in told for digest in of_results)


# ---- what a publication stands on --------------------------------------------------------------------------------


def other_result(house, monkeypatch):
    house.results(prevalence=prevalence().with_columns(high=pl.lit(0.95)))


def a_figure_is_missing(house, monkeypatch):
    house.results(prevalence=prevalence().with_columns(low=pl.lit(None, pl.Float64)))


def other_settings(house, monkeypatch):
    house.programme = Programme(house.programme.path, house.programme.settings, {}, "decaf" * 12 + "0123")


def other_program(house, monkeypatch):
    monkeypatch.setattr(basis, "program_digest", lambda packages, libraries: "another")


def page_changed(house, monkeypatch):
    (house.latest / "index.html").write_text("<title>PAGE</title>")


def page_changed_and_its_moment_set_back(house, monkeypatch):
    path = house.latest / "index.html"
    before = path.stat()
    path.write_text("<title>PAGE</title>")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def page_gone(house, monkeypatch):
    (house.latest / "index.html").unlink()


def a_stranger_among_them(house, monkeypatch):
    (house.latest / "data" / "mine.csv").write_text("1\n")


def link_gone(house, monkeypatch):
    house.latest.unlink()


def another_version_served(house, monkeypatch):
    other = house.programme.published / VERSIONS / "other"
    house.latest.resolve().rename(other)
    house.latest.unlink()
    house.latest.symlink_to(Path(VERSIONS) / "other")


def record_gone(house, monkeypatch):
    (house.programme.store / standing.FILE).unlink()


def record_cut_off(house, monkeypatch):
    path = house.programme.store / standing.FILE
    path.write_text(path.read_text()[:200])


def record_of_another_form(house, monkeypatch):
    path = house.programme.store / standing.FILE
    path.write_text(json.dumps(json.loads(path.read_text()) | {"form": 99}))


CHANGED = {
    page_changed: ("index.html",),
    page_changed_and_its_moment_set_back: ("index.html",),
    page_gone: ("index.html",),
    a_stranger_among_them: ("data/mine.csv",),
}


@pytest.mark.parametrize("changed", [
    other_result, a_figure_is_missing, other_settings, other_program, page_changed,
    page_changed_and_its_moment_set_back, page_gone, a_stranger_among_them, link_gone, another_version_served,
    record_gone, record_cut_off, record_of_another_form,
])  # fmt: skip
def test_whatever_it_stands_on_makes_a_new_one_and_then_that_stands(house, monkeypatch, changed):
    changed(house, monkeypatch)
    made = house.run()
    assert made.is_new and made.changed_before == CHANGED.get(changed, ())
    assert (house.latest / "index.html").read_text() == "<title>page</title>"
    assert not (house.latest / "data" / "mine.csv").exists()
    assert not house.run().is_new


def test_a_new_one_is_what_publishing_from_nothing_gives(house, tmp_path, monkeypatch):
    other_result(house, monkeypatch)
    house.run()
    (tmp_path / "elsewhere").mkdir()
    elsewhere = House(tmp_path / "elsewhere", house.store)
    other_result(elsewhere, monkeypatch)
    full = publish(house.store, elsewhere.programme, AS_OF, build_pages=pages).path
    assert digest_of(contents_of(full)) == digest_of(contents_of(house.latest))


@pytest.fixture
def made_anew(monkeypatch) -> list[str]:
    """The tables whose files are not taken over."""
    seen = []
    for name, place in (("write_table", lambda table: table), ("write_table_of_periods", lambda listed: listed.table)):
        write = getattr(publish_module, name)

        def watched(data, of, *others, write=write, place=place):
            seen.append(place(of).name)
            return write(data, of, *others)

        monkeypatch.setattr(publish_module, name, watched)
    return seen


def test_tables_that_are_as_they_were_are_taken_over(house, monkeypatch, made_anew):
    before = house.files()
    other_result(house, monkeypatch)
    house.run()
    assert set(made_anew) == set(BY_PERIOD), "the one period has other results"
    made_anew.clear()
    between = house.files()
    house.quality("2025Q2")
    house.run()
    assert made_anew == ["data_quality"]
    after = house.files()
    assert after["data/trend.csv"][0] == between["data/trend.csv"][0] == before["data/trend.csv"][0]
    assert after["data/trend.csv"][2] != between["data/trend.csv"][2], "a file of its own"


@pytest.mark.parametrize("changed", [page_changed, other_program, record_gone])
def test_nothing_is_taken_over_from_what_is_not_as_it_was_written_or_of_another_program(
    house, monkeypatch, made_anew, changed
):
    if changed is other_program:
        monkeypatch.setattr(protected_view, "program_digest", lambda *_: "another")
    changed(house, monkeypatch)
    house.run()
    assert set(made_anew) == {table.name for table in TABLES}


def test_what_tells_of_runs_may_be_gone_or_damaged(house, monkeypatch, tmp_path):
    path = house.programme.store / standing.FILE_OF_RUNS
    assert path.stat().st_mode & 0o777 == 0o600
    for damage in (path.unlink, lambda: path.write_bytes(b"PAR1"), lambda: path.write_bytes(path.read_bytes()[:-1])):
        damage()
        house.run(is_asked_for=True)
    (tmp_path / "elsewhere").mkdir()
    whole = publish(house.store, House(tmp_path / "elsewhere", house.store).programme, AS_OF, build_pages=pages).path
    assert digest_of(contents_of(whole)) == digest_of(contents_of(house.latest))


def test_words_of_another_language_are_part_of_it(house):
    house.change(language="cy")
    path = house.programme.language_file
    path.parent.mkdir()
    for words in ("", 'msgctxt "withheld"\nmsgid "withheld"\nmsgstr "cuddiwyd"\n'):
        path.write_text(PO + words, encoding="utf-8")
        assert house.run().is_new
        assert not house.run().is_new


def test_one_that_is_asked_for_is_made(house):
    before = house.files()
    assert house.run(is_asked_for=True).is_new
    assert {name: content for name, (content, _, _) in house.files().items()} == {
        name: content for name, (content, _, _) in before.items()
    }
    assert house.run(date(2025, 5, 1), is_asked_for=True).is_new
    assert not house.run().is_new


def test_the_script_that_pages_share_is_made_once_a_program(house, monkeypatch):
    made = []
    monkeypatch.setattr(dashboards, "build_pages", lambda folder, assets=None: made.append(assets) or pages(folder))
    house.run(is_asked_for=True)
    assert made == [house.programme.published / VERSIONS / made[0].parent.name / "assets"]
    other_program(house, monkeypatch)
    house.run()
    page_changed(house, monkeypatch)
    house.run()
    assert made[1:] == [None, None]


def test_what_a_killed_publication_left_beside_it_goes(house):
    versions = house.programme.published / VERSIONS
    (versions / UNFINISHED / "data").mkdir(parents=True)
    (versions / "2025-04-01-0123456789abcdef").mkdir()
    (house.programme.published / NEXT_LINK).symlink_to(VERSIONS)
    assert not house.run().is_new
    assert {path.name for path in versions.iterdir()} == {MARK, house.latest.readlink().name}
    assert not (house.programme.published / NEXT_LINK).is_symlink()


# ---- the day -----------------------------------------------------------------------------------------------------


def state_of(house, site: str) -> str:
    record = json.loads((house.latest / "release.json").read_text())
    return next(one["arrival"] for one in record["sites"] if one["id"] == site)


def test_a_site_is_late_on_the_night_it_becomes_late_and_not_before(house):
    house.quality("2025Q2")  # its last day is 30 June, and a month later the next reading is expected
    assert house.run(date(2025, 7, 1)).is_new
    for night in (date(2025, 7, 2), date(2025, 7, 31)):
        assert house.run(night).as_of == date(2025, 7, 1)
    assert state_of(house, "north-quay") == "on_time"
    assert house.run(date(2025, 8, 1)).is_new
    assert state_of(house, "north-quay") == "late"
    assert not house.run(date(2025, 8, 31)).is_new
    assert house.run(date(2025, 9, 1)).is_new
    assert state_of(house, "north-quay") == "silent"
    assert not house.run(date(2026, 9, 1)).is_new, "silent is silent, however long"


def test_a_day_that_somebody_gave_stands_on_every_page(house):
    house.change(site=[site.model_copy(update={"expected": None}) for site in house.programme.settings.site])
    house.run(is_asked_for=True)
    next_day = date(2025, 5, 2)
    assert not house.run(next_day).is_new
    assert not house.run(AS_OF, is_day_given=True).is_new
    assert house.run(next_day, is_day_given=True).is_new
    assert json.loads((house.latest / "release.json").read_text())["as_of"] == "2025-05-02"


def test_pages_of_a_day_that_has_not_come_do_not_stay(house):
    house.run(date(2025, 5, 1), is_asked_for=True)
    assert house.run(date(2025, 4, 30)).is_new


def test_noise_is_drawn_on_the_night_after_its_period(house):
    house.change(disclosure=Disclosure(noise={"epsilon": 0.25}))
    house.store.execute(
        "insert into tally.band (site, period, sex, age, banding, band, n) "
        "values ('north-quay', '2025Q2', 'female', 40, 'bmi_adult', 'normal', 50)"
    )
    house.quality("2025Q2")
    assert house.run(date(2025, 6, 30)).is_new
    assert not house.run(date(2025, 6, 30)).is_new
    assert house.run(date(2025, 7, 1)).is_new
    assert pl.read_parquet(house.latest / "data" / "noisy_count.parquet")["period"].unique().to_list() == ["2025Q2"]
    before = house.files()
    assert not house.run(date(2025, 7, 2)).is_new and house.files() == before
