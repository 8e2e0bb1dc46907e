"""Files prepared by separate worker processes of a real Dask cluster: the store is that of a run on one machine."""

import gzip
import os
import shutil
import signal
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from types import SimpleNamespace

import polars as pl
import pytest
from distributed import KilledWorker, LocalCluster
from invented_site import SITE, House, csv
from loopback_servers import SftpPlace
from polars.testing import assert_frame_equal

from pipeline import __version__
from pipeline.faults import Fault, SettingsFault
from pipeline.intake import on_cluster, parcel, passes, receive
from pipeline.intake.arrival import Arrival
from pipeline.programme import Programme

OTHER = "east-pier"
COMPARED = ("ledger", "reading")


@pytest.fixture(scope="module")
def cluster():
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0") as made:
        yield made


def engine(scheduler, **more):
    rest = "".join(f"{key} = {value!r}\n".replace("'", '"') for key, value in more.items())
    return f'[engine]\nkind = "dask"\nscheduler = "{scheduler}"\n{rest}\n'


def programme_at(folder, tables=""):
    """Two sites, and files of every fate: taken, corrected, repeated, held in part and whole, refused."""
    folder.mkdir()
    house = House(folder, (SITE, OTHER))
    settings = folder / "programme.toml"
    settings.write_text(settings.read_text().replace("[[site]]", tables + "[[site]]", 1))
    rows = [f"m{i:03},2025-02-{i % 28 + 1:02},F,{20 + i % 60},165.0,{60 + i % 9}.0" for i in range(60)]
    house.put("01.csv", csv(*rows))
    house.put("02.csv", csv(*rows[:10], "m001,2025-02-02,F,21,165.0,61.5", "m900,2025-02-02,F,21,165.0,?"))
    house.put("03.csv", csv(*rows))
    house.put("04.csv.gz", gzip.compress(csv("ümlaut,2025-03-02,F,35,165.0,60.0").encode("latin-1"), mtime=0))
    house.put("05.csv", csv("m1,2025-02-03,F,35,165.0"))
    house.put("06.csv", csv())
    house.put("07.csv", csv("m1,2025-03-02,F,35,165.0,60.0,anna@example.org", header="Member,Date,Sex,Age,Ht,Wt,Mail"))
    house.put("01.csv", csv(*rows[::2]), OTHER)
    house.put("02.csv", csv(*(f"m{i:03},2025-05-02,M,40,180.0,{70 + i}.0" for i in range(20))), OTHER)
    return house


@pytest.fixture
def here(tmp_path):
    """The programme read on this machine, to compare with."""
    house = programme_at(tmp_path / "here")
    house.summary = house.receive()
    yield house
    house.store.close()


def same_key(of, house):
    (house.folder / "store").mkdir(exist_ok=True)
    shutil.copy(of.folder / "store/pseudonym.key", house.folder / "store/pseudonym.key")


def tables(house):
    names = house.store.rows(
        "select schema_name || '.' || table_name from duckdb_tables() "
        "where list_contains($schemas, schema_name) order by all",
        {"schemas": list(COMPARED)},
    )
    # How files look is each place's own, and kept only of those that were seconds old when a run began.
    return {name: house.store.frame(f"from {name} order by all") for (name,) in names if name != "ledger.inbox_file"}


def assert_same_store(here, there):
    ours, theirs = tables(here), tables(there)
    assert ours.keys() == theirs.keys() and ours["reading.accepted"].height > 70
    for name, frame in ours.items():
        assert_frame_equal(frame, theirs[name])
    assert here.archived() == there.archived()


def watched(house, watch):
    """One run, as House.receive, with something to do before each file."""
    house.run_id += 1
    return receive(
        house.store, Programme.read(house.folder), as_of=date(2025, 6, 30),
        received_at=datetime(2025, 6, 30, 8), run_id=house.run_id, progress=watch,
    )  # fmt: skip


def test_the_store_is_that_of_one_machine_and_the_next_run_finds_nothing_new(here, cluster, tmp_path):
    there = programme_at(tmp_path / "there", engine(cluster.scheduler_address))
    same_key(here, there)
    assert there.receive() == here.summary
    assert (here.summary.files_refused, here.summary.files_held, here.summary.readings_replaced) == (1, 2, 1)
    assert_same_store(here, there)
    assert there.receive() == here.receive()
    assert_same_store(here, there)
    there.store.close()


def test_nothing_is_lost_with_a_worker_that_is_killed_half_way(here, cluster, tmp_path, monkeypatch):
    monkeypatch.setattr(passes, "FILES_AT_MOST", 2)
    there = programme_at(tmp_path / "there", engine(cluster.scheduler_address))
    same_key(here, there)
    killed = []

    def kills(done, total, what):
        if done in (0, 3) and total > 3:  # as the first files are read, and again while some are filed
            victim = cluster.workers[done % 2].pid
            os.kill(victim, signal.SIGKILL)
            killed.append(victim)

    assert watched(there, kills) == here.summary
    assert len(killed) == 2
    assert_same_store(here, there)
    there.store.close()


class Lost:
    """A task that took worker after worker down with it."""

    def result(self, timeout):
        raise KilledWorker("pass", SimpleNamespace(address="tcp://127.0.0.1:1"), 3)


def test_a_pass_that_takes_workers_down_is_tried_file_by_file_and_then_the_file_is_named(here):
    settings = Programme.read(here.folder).settings
    arrivals = [Arrival(SITE, here.folder / name, name) for name in ("01.csv", "02.csv")]
    assert on_cluster._awaited(None, settings.engine, Lost(), arrivals).broken_by == "workers lost"
    with pytest.raises(Fault, match="workers lost") as fault:
        on_cluster._awaited(None, settings.engine, Lost(), arrivals[:1])
    assert f"{SITE}/01.csv" in str(fault.value)


def test_no_key_and_no_member_number_stands_on_the_exchange_and_nothing_stays_there(
    here, cluster, tmp_path, monkeypatch
):
    exchange = tmp_path / "exchange"
    there = programme_at(tmp_path / "there", engine(cluster.scheduler_address, exchange=f"file://{exchange}"))
    same_key(here, there)
    key = (there.folder / "store/pseudonym.key").read_bytes().strip()
    seen = []

    def looks(folder):
        for path in Path(folder.removeprefix("file://")).glob("*.parquet"):
            frame = pl.read_parquet(path)
            texts = {str(cell) for row in frame.rows() for cell in row}
            assert key not in path.read_bytes()
            assert not texts & {f"m{i:03}" for i in range(60)} and "ümlaut" not in texts
            seen.append((path.stem, frame.height))
        delete(folder)

    delete = parcel.delete
    monkeypatch.setattr(parcel, "delete", looks)
    there.receive()
    rows = {name: sum(height for of, height in seen if of == name) for name, _ in seen}
    assert rows["checked"] > rows["received"] == sum(there.files("rows_held")) > 0
    assert list(exchange.rglob("*.parquet")) == []
    assert_same_store(here, there)
    there.store.close()


def test_what_a_killed_run_left_on_the_exchange_goes_with_the_next(cluster, tmp_path):
    there = programme_at(tmp_path / "there", engine(cluster.scheduler_address))
    left = there.folder / "store/exchange/prepared/00ff/checked.parquet"
    left.parent.mkdir(parents=True)
    left.write_bytes(b"pseudonyms of somebody")
    there.receive()
    assert not left.exists()
    there.store.close()


def test_a_cluster_without_a_scheduler_or_without_workers_is_said_and_nothing_is_filed(tmp_path):
    there = programme_at(tmp_path / "there", engine("tcp://127.0.0.1:9", patience_seconds=1))
    with pytest.raises(Fault, match="cluster out of reach") as fault:
        there.receive()
    assert "127.0.0.1:9" in str(fault.value) and there.files("name") == []
    there.store.close()
    with LocalCluster(n_workers=0, dashboard_address=":0") as nobody:
        empty = programme_at(tmp_path / "empty", engine(nobody.scheduler_address, patience_seconds=1))
        with pytest.raises(Fault, match="no worker there"):
            empty.receive()
        assert empty.files("name") == []
        empty.store.close()


def test_workers_of_another_version_or_with_other_settings_are_not_trusted(here):
    programme = Programme.read(here.folder)
    arrival = Arrival(SITE, here.folder / "inbox" / SITE / "01.csv", "01.csv")
    errand = on_cluster.Errand(
        programme.path, programme.sha256, __version__, str(here.folder / "exchange"), (arrival,),
        date(2025, 6, 30), datetime(2025, 6, 30, 8), 1, None, 0, frozenset(),
    )  # fmt: skip
    with pytest.raises(Fault, match="another version"):
        on_cluster.prepare_far(replace(errand, version="0.0.0"))
    with pytest.raises(Fault, match="settings changed"):
        on_cluster.prepare_far(replace(errand, programme_sha256="00"))
    with pytest.raises(Fault, match="programme not on a worker"):
        on_cluster.prepare_far(replace(errand, programme=here.folder / "elsewhere.toml"))
    [file] = on_cluster.prepare_far(errand).files
    assert file.fault is None


@pytest.mark.parametrize(
    "table", ['kind = "dask"', 'scheduler = "tcp://10.0.0.1:8786"', 'kind = "dask"\nscheduler = "here"']
)
def test_a_cluster_and_its_address_belong_together(tmp_path, table):
    House(tmp_path)
    settings = tmp_path / "programme.toml"
    settings.write_text(settings.read_text().replace("[[site]]", f"[engine]\n{table}\n[[site]]", 1))
    with pytest.raises(SettingsFault, match="engine"):
        Programme.read(tmp_path)


def test_files_of_a_source_are_fetched_here_and_filed_in_their_turn(cluster, tmp_path):
    (tmp_path / "place").mkdir()
    place = SftpPlace(tmp_path / "place")
    place.put(f"{SITE}/99.csv", csv("m001,2025-02-02,F,21,165.0,62.25"))  # corrects 02.csv, which corrects 01.csv
    place.put(f"{OTHER}/00.csv", csv("m700,2025-02-02,F,21,165.0,62.5"))
    houses = [programme_at(tmp_path / "near"), programme_at(tmp_path / "far", engine(cluster.scheduler_address))]
    said = []
    for house in houses:
        settings = house.folder / "programme.toml"
        settings.write_text(settings.read_text() + place.settings())
        house.receive()
        said.append((
            house.files("site", "name", "state", "rows_accepted", "rows_superseded"),
            house.accepted("reading_id", "site", "weight_kg"),
            house.receive().sentence(),
        ))  # fmt: skip
        house.store.close()
    place.close()
    assert said[0] == said[1] and (SITE, "clinic/99.csv", "accepted", 1, 0) in said[1][0]
    assert place.fetched == [f"{OTHER}/00.csv", f"{SITE}/99.csv"] * 2
