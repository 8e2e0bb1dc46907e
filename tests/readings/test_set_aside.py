"""A person's readings together: which of them cannot be believed, and that the others stay."""

from datetime import date, datetime, timedelta

FIRST = date(2024, 1, 10)


def day(weeks):
    return FIRST + timedelta(weeks=weeks)


def found(store):
    return store.rows("select reading_id % 1000000000 as line, code from reading.set_aside order by all")


def test_readings_that_agree_all_stay(accept, build, store):
    accept(*({"measured_on": day(13 * n), "weight_kg": 65.0 - n} for n in range(5)))
    build()
    assert found(store) == []


def test_the_one_reading_of_the_other_sex_among_three_goes(accept, build, store):
    accept({"measured_on": day(0)}, {"measured_on": day(13), "sex": "male"}, {"measured_on": day(26)})
    build()
    assert found(store) == [(2, "sex_changes")]


def test_of_two_readings_of_different_sex_both_go(accept, build, store):
    accept({"measured_on": day(0)}, {"measured_on": day(13), "sex": "male"})
    build()
    assert found(store) == [(1, "sex_changes"), (2, "sex_changes")]


def test_other_people_are_no_witnesses(accept, build, store):
    accept({"measured_on": day(0)}, {"measured_on": day(13), "sex": "male", "participant": "p2"})
    build()
    assert found(store) == []


def test_an_adult_height_more_than_three_centimetres_off_goes(accept, build, store):
    accept({"measured_on": day(0)}, {"measured_on": day(1), "height_cm": 168.0}, {"measured_on": day(2)})
    build()
    assert found(store) == []
    accept({"measured_on": day(3), "height_cm": 168.1})
    build()
    assert found(store) == [(1, "adult_height_changes")]
    assert store.rows("select reading_id from reading.set_aside") == [(2_000_000_001,)]


def test_two_heights_against_two_leave_none_to_be_believed(accept, build, store):
    accept(
        *(
            {"measured_on": day(n), "height_cm": height}
            for n, height in enumerate((165.0, 165.0, 172.0, 172.0))
        )
    )
    build()
    assert [line for line, _ in found(store)] == [1, 2, 3, 4]


def test_a_child_grows_and_stays(accept, build, store):
    accept(
        *(
            {"measured_on": day(26 * n), "age": 12, "height_cm": 150.0 + 5 * n, "weight_kg": 40.0 + 2 * n}
            for n in range(4)
        )
    )
    build()
    assert found(store) == []


def test_a_childs_height_that_falls_or_leaps_goes(accept, build, store):
    heights = (150.0, 150.5, 151.0, 152.0, 165.0, 153.0)
    accept(
        *(
            {"measured_on": day(4 * n), "age": 12, "height_cm": height, "weight_kg": 45.0}
            for n, height in enumerate(heights)
        )
    )
    build()
    assert found(store) == [(5, "child_height_changes")]


def test_a_childs_fall_of_two_centimetres_is_measuring(accept, build, store):
    child = {"age": 12, "weight_kg": 45.0}
    accept(
        child | {"measured_on": day(0), "height_cm": 150.0},
        child | {"measured_on": day(1), "height_cm": 148.0},
    )
    build()
    assert found(store) == []
    accept(
        child | {"participant": "p2", "measured_on": day(0), "height_cm": 150.0},
        child | {"participant": "p2", "measured_on": day(1), "height_cm": 147.9},
    )
    build()
    assert [code for _, code in found(store)] == ["child_height_changes"] * 2


def test_a_weight_that_nobody_reaches_in_the_time_goes(accept, build, store):
    # 13 weeks allow 10 % and 13 % on the log scale: 65 kg may fall to 51.7
    accept({"measured_on": day(0)}, {"measured_on": day(13), "weight_kg": 51.6}, {"measured_on": day(26)})
    build()
    assert found(store) == [(2, "weight_jump")]


def test_a_steady_loss_stays_however_large(accept, build, store):
    accept(*({"measured_on": day(13 * n), "weight_kg": 120.0 * 0.85**n} for n in range(5)))
    build()
    assert found(store) == []


def test_a_height_fault_is_not_called_a_weight_jump_as_well(accept, build, store):
    accept({"measured_on": day(0)}, {"measured_on": day(13), "height_cm": 185.0}, {"measured_on": day(26)})
    build()
    assert found(store) == [(2, "adult_height_changes")]


def test_a_later_reading_can_acquit_an_earlier_one(accept, build, store):
    accept({"measured_on": day(0)})
    accept({"measured_on": day(13), "sex": "male"})
    build()
    assert len(found(store)) == 2
    accept({"measured_on": day(26)})
    build()
    assert store.rows("select reading_id from reading.set_aside") == [(2_000_000_001,)]


def test_twice_is_the_same_as_once(accept, build, store):
    accept({"measured_on": day(0)}, {"measured_on": day(13), "sex": "male"}, {"measured_on": day(26)})
    build()
    once = found(store)
    store.execute("update ledger.file set is_built = false")
    build()
    assert found(store) == once


def test_a_reading_that_is_no_longer_there_leaves_nothing_behind(accept, build, store):
    ids = accept({"measured_on": day(0)}, {"measured_on": day(13), "sex": "male"}, {"measured_on": day(26)})
    build()
    store.execute("delete from reading.accepted where reading_id = $id", {"id": ids[1]})
    store.execute("update ledger.file set rows_accepted = 2, rows_superseded = 1, is_built = false")
    build()
    assert found(store) == []


def test_two_readings_at_one_moment_are_compared_too(accept, build, store):
    at = {"measured_on": FIRST, "measured_at": datetime(2024, 1, 10, 9)}
    accept(at, at | {"sex": "male"})
    build()
    assert len(found(store)) == 2
