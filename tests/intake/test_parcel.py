"""A pass that a worker packed stands as views where it is filed, whatever the exchange is."""

import uuid
from datetime import date, datetime

import pytest
from invented_site import SITE, House, csv

from pipeline import __version__
from pipeline.faults import Fault
from pipeline.intake import on_cluster, parcel, pseudonyms
from pipeline.intake.arrival import Arrival
from pipeline.intake.parcel import Unpacked
from pipeline.programme import Programme

ROWS = ["m1,2025-02-02,F,35,165.0,60.0", "m2,2025-02-02,F,35,165.0,?", "m3,2025-02-03,M,35,165.0,61.0"]


@pytest.fixture(params=["plain", "with [a] sign*"])
def house(request, tmp_path):
    folder = tmp_path / request.param
    folder.mkdir()
    made = House(folder)
    yield made
    made.store.close()


def packed(house, *rows):
    """The folder of an exchange that no disk has, with a pass of one file."""
    house.put("01.csv", csv(*rows))
    (house.folder / "store").mkdir(exist_ok=True)
    pseudonyms.read_key(house.folder / "store" / "pseudonym.key")
    programme = Programme.read(house.folder)
    errand = on_cluster.Errand(
        programme.path, programme.sha256, __version__, f"memory://{uuid.uuid4().hex}/",
        (Arrival(SITE, house.folder / "inbox" / SITE / "01.csv", "01.csv"),),
        date(2025, 6, 30), datetime(2025, 6, 30, 8), 1, None, 0, frozenset(),
    )  # fmt: skip
    return on_cluster.prepare_far(errand).rows


def test_what_filing_needs_comes_through_an_exchange_that_is_no_folder(house):
    spool = house.folder / "store" / "spool"
    house.store.execute("create temp table checked as select 'of a pass prepared here' as said")
    folder, other = packed(house, *ROWS), packed(house, *ROWS[2:])
    unpacked = Unpacked(house.store, spool)
    unpacked.show(folder)
    assert house.store.rows("select line, weight_kg, codes from checked order by line") == [
        (2, 60.0, []), (3, None, ["unreadable:weight"]), (4, 61.0, []),
    ]  # fmt: skip
    assert house.store.rows("select line, participant, weight from received") == [(3, None, "?")]
    assert house.store.rows("from rows_of_file") == [(1, 3)]
    unpacked.show(other)
    assert house.store.rows("select line, weight_kg from checked") == [(2, 61.0)]
    unpacked.close()
    assert list(spool.iterdir()) == []
    house.store.execute("create temp table checked as select 1 as line")  # nothing stands in the way


def test_a_parcel_that_was_deleted_leaves_no_trace_of_its_views(house):
    folder = packed(house, *ROWS)
    parcel.delete(folder)
    parcel.delete(folder)
    unpacked = Unpacked(house.store, house.folder / "store" / "spool")
    with pytest.raises(FileNotFoundError):
        unpacked.show(folder)
    unpacked.close()
    house.store.execute("create temp table rows_of_file as select 1 as file")


def test_a_spool_that_duckdb_cannot_be_told_is_said_before_anything_is_sent(house):
    with pytest.raises(Fault, match="rename the folder"):
        Unpacked(house.store, house.folder / "a\\b*" / "spool")
