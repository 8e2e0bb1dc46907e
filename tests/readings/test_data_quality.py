"""What became of the rows, and how often each check spoke, by site and for all sites."""

from datetime import date

import pytest

from pipeline.data_quality import build_data_quality


@pytest.fixture
def quality(build, store, programme):
    """(site, period, item) → (severity, n, denominator)"""

    def run():
        build()
        build_data_quality(store, programme)
        return {
            (site, period, item): (severity, n, denominator)
            for site, period, item, severity, n, denominator in store.rows(
                "select site, period, item, severity, n, denominator from result.data_quality"
            )
        }

    return run


def hold(store, *codes, file_id=1):
    """One held row of a file, with its counters."""
    store.execute(
        "insert into ledger.held_row (file_id, line, codes, field, received) "
        "values ($file, 99, $codes, '', '{}')",
        {"file": file_id, "codes": list(codes)},
    )
    store.execute(
        "update ledger.file set rows_read = rows_read + 1, rows_held = rows_held + 1 where file_id = $file",
        {"file": file_id},
    )


def test_rows_are_counted_out_of_the_rows_read(accept, store, quality):
    accept({}, {"participant": "p2"}, {"participant": "p3"})
    hold(store, "missing:sex", "out_of_range:age")
    found = quality()
    assert found["north-quay", None, "rows_read"] == ("count", 4, 4)
    assert found["north-quay", None, "rows_accepted"] == ("count", 3, 4)
    assert found["north-quay", None, "rows_held"] == ("count", 1, 4)
    assert found["north-quay", None, "missing:sex"] == ("hold", 1, 4)
    assert found["north-quay", None, "out_of_range:age"] == ("hold", 1, 4)


def test_all_sites_together_are_out_of_every_sites_rows(accept, store, quality):
    accept({}, {"participant": "p2"})
    accept({"participant": "p3", "flags": ["clothing_weight_not_set"]}, site="east-pier")
    hold(store, "missing:sex")
    found = quality()
    assert found["", None, "missing:sex"] == ("hold", 1, 4)
    assert found["", None, "rows_accepted"] == ("count", 3, 4)
    assert found["", "2025Q1", "clothing_weight_not_set"] == ("flag", 1, 3)
    assert found["east-pier", "2025Q1", "clothing_weight_not_set"] == ("flag", 1, 1)
    assert ("north-quay", "2025Q1", "clothing_weight_not_set") not in found


def test_readings_that_may_count_are_out_of_the_accepted(accept, quality):
    accept(
        {"measured_on": date(2025, 1, 6)},
        {"measured_on": date(2025, 2, 3), "sex": "male"},
        {"measured_on": date(2025, 3, 3)},
        {"measured_on": date(2025, 4, 7)},
    )
    found = quality()
    assert found["north-quay", "2025Q1", "readings"] == ("count", 2, 3)
    assert found["north-quay", "2025Q1", "sex_changes"] == ("set_aside", 1, 3)
    assert found["north-quay", "2025Q1", "people"] == ("count", 1, 1)
    assert found["north-quay", "2025Q2", "readings"] == ("count", 1, 1)


def test_a_reading_with_two_reasons_is_one_reading_away(accept, quality):
    accept(
        {"measured_on": date(2025, 1, 6)},
        {"measured_on": date(2025, 2, 3), "sex": "male", "height_cm": 175.0},
        {"measured_on": date(2025, 3, 3)},
    )
    found = quality()
    assert found["north-quay", "2025Q1", "readings"] == ("count", 2, 3)
    assert found["north-quay", "2025Q1", "adult_height_changes"] == ("set_aside", 1, 3)


def test_files_held_are_out_of_the_files_received(accept, store, quality):
    accept({})
    accept({"participant": "p2"})
    store.execute("""insert into ledger.file (file_id, run_id, site, name, sha256, bytes, received_at, state)
                     values (3, 1, 'north-quay', 'empty.csv', 'x', 0, timestamp '2026-01-15', 'held')""")
    found = quality()
    assert found["north-quay", None, "files_held"] == ("count", 1, 3)
    assert found["", None, "files_held"] == ("count", 1, 3)


def test_someone_at_two_sites_is_one_person_of_all_sites(accept, quality):
    accept({"measured_on": date(2025, 1, 6)}, site="east-pier")
    accept({"measured_on": date(2025, 2, 3)}, site="north-quay")
    found = quality()
    assert found["", "2025Q1", "people"] == ("count", 1, 1)
    assert ("east-pier", "2025Q1", "people") not in found


def test_a_site_that_sent_only_an_empty_file_has_no_share(store, quality):
    store.execute("""insert into ledger.file (file_id, run_id, site, name, sha256, bytes, received_at, state)
                     values (1, 1, 'north-quay', 'empty.csv', 'x', 0, timestamp '2026-01-15', 'held')""")
    assert quality()["north-quay", None, "rows_read"] == ("count", 0, 0)
    assert store.rows("select proportion from result.data_quality where item = 'rows_read'") == [
        (None,),
        (None,),
    ]


def test_twice_is_the_same_as_once(accept, store, quality):
    accept({"flags": ["athlete_mode_missing"]})
    once = quality()
    assert quality() == once and once
