"""Every row is accepted, held, a duplicate or superseded: within a file, against the store, and exactly."""

from invented_site import HEADER, PROFILE, csv

A = "m1,2025-02-03,F,35,165.0,65.0"
B = "m1,2025-02-03,F,35,165.0,66.0"  # the same reading, another weight
C = "m1,2025-02-03,F,35,165.0,67.0"
OTHER = "m2,2025-02-03,F,35,165.0,65.0"


def test_the_same_values_again_are_a_duplicate_and_the_first_line_stays(house):
    house.put("a.csv", csv(A, OTHER, A))
    house.receive()
    assert house.counts() == [(3, 2, 0, 1, 0)]
    assert house.accepted("line") == [2, 3]


def test_other_values_on_a_later_line_supersede(house):
    house.put("a.csv", csv(A, B))
    house.receive()
    assert house.counts() == [(2, 1, 0, 0, 1)]
    assert house.accepted("line", "weight_kg") == [(3, 66.0)]


def test_going_back_to_the_first_values_is_a_correction_too(house):
    house.put("a.csv", csv(A, A, B, B, A))
    house.receive()
    assert house.counts() == [(5, 1, 0, 2, 2)]
    assert house.accepted("line", "weight_kg") == [(6, 65.0)]


def test_a_later_file_with_the_same_rows_changes_nothing(house):
    house.put("a.csv", csv(A, OTHER))
    house.receive()
    house.put("b.csv", csv(OTHER, A))
    house.receive()
    assert house.counts() == [(2, 2, 0, 0, 0), (2, 0, 0, 2, 0)]
    assert house.accepted("file_id") == [1, 1]


def test_a_later_file_supersedes_and_the_older_files_count_moves(house):
    house.put("a.csv", csv(A, OTHER))
    house.receive()
    house.store.execute("insert into reading.set_aside values (1000000002, 'height_changed')")
    house.put("b.csv", csv(B))
    house.receive()
    assert house.counts() == [(2, 1, 0, 0, 1), (1, 1, 0, 0, 0)]
    assert house.accepted("reading_id", "weight_kg") == [(1_000_000_003, 65.0), (2_000_000_002, 66.0)]
    assert house.store.rows("from reading.set_aside") == []


def test_duplicate_first_then_correction_against_the_store(house):
    house.put("a.csv", csv(A))
    house.receive()
    house.put("b.csv", csv(A, B, C))
    house.receive()
    assert house.counts() == [(1, 0, 0, 0, 1), (3, 1, 0, 1, 1)]
    assert house.accepted("weight_kg") == [67.0]


def test_correction_and_back_again_leaves_the_later_file_with_the_reading(house):
    house.put("a.csv", csv(A))
    house.receive()
    house.put("b.csv", csv(B, A))
    house.receive()
    assert house.counts() == [(1, 0, 0, 0, 1), (2, 1, 0, 0, 1)]
    assert house.accepted("file_id", "weight_kg") == [(2, 65.0)]


def test_another_time_of_day_is_another_reading(house):
    house.put("a.csv", csv(A.replace("02-03", "02-03 09:00"), B.replace("02-03", "02-03 17:00")))
    house.receive()
    assert house.counts() == [(2, 2, 0, 0, 0)]


def test_another_site_is_another_reading(two_sites):
    two_sites.put("a.csv", csv(A))
    two_sites.put("a.csv", csv(B), site="east-pier")
    two_sites.receive()
    assert two_sites.counts() == [(1, 1, 0, 0, 0), (1, 1, 0, 0, 0)]


def test_a_missing_value_equals_a_missing_value(house):
    house.profile(PROFILE + 'body_fat_percent = { header = "Fat" }\n')
    house.put("a.csv", csv(A + ",", A + ",-", A + ",30", header=HEADER + ",Fat"))
    house.receive()
    assert house.counts() == [(3, 1, 0, 1, 1)]
    assert house.accepted("body_fat_percent") == [30.0]


def test_a_held_row_supersedes_nothing(house):
    house.put("a.csv", csv(A, "m1,2025-02-03,F,35,165.0,heavy"))
    house.receive()
    assert house.counts() == [(2, 1, 1, 0, 0)]
    assert house.accepted("line") == [2]


def test_a_held_row_says_field_found_expected_and_the_row_without_the_participant(house):
    house.put("a.csv", csv(A, "m2,2025-02-03,F,35,165.0,172;4"))
    summary = house.receive()
    found = house.store.rows("select field, found, expected, proposal, received from ledger.held_row")
    assert found == [
        (
            "weight",
            "172;4",
            "a number of kilograms written with a point (kg)",
            None,
            '{"Date":"2025-02-03","Sex":"F","Age":"35","Ht":"165.0","Wt":"172;4"}',
        )
    ]
    assert summary.row_messages == [
        "held  north-quay/a.csv, line 3, field weight (unreadable:weight)\n"
        "      found 172;4; expected a number of kilograms written with a point (kg)\n"
        "      next: correct the line and send the file again. The other row was taken."
    ]


def test_an_unambiguous_correction_is_proposed_and_never_applied(house):
    house.put("a.csv", csv("m1,2025-02-03,F,35,57,166", OTHER))
    summary = house.receive()
    assert house.held() == [(2, ["weight_height_exchanged"])]
    assert "perhaps: height 166.0 cm with weight 57.0 kg" in summary.row_messages[0]
    assert house.accepted("line") == [3]


def test_text_that_might_name_someone_is_not_repeated(house):
    house.put(
        "a.csv",
        csv("m1,2025-02-03,Henrietta,35,165.0,65.0", "m2,2025-02-03,F,35,165.0,call 020 7946 0018", OTHER),
    )
    summary = house.receive()
    everything = repr(house.store.rows("from ledger.held_row")) + repr(
        summary.messages + summary.row_messages
    )
    assert "Henrietta" not in everything and "7946" not in everything
    assert "found a text of 9 characters" in summary.row_messages[0]


def test_the_message_shows_the_first_rows_and_counts_the_others(house):
    house.put("a.csv", csv(*[f"m{n},2025-02-03,F,35,165.0," for n in range(5)], OTHER))
    message = house.receive().row_messages[0]
    assert message.count("(missing:weight)") == 3
    assert "2 more lines of this file were held" in message


def test_a_file_of_which_no_row_can_be_taken_is_held_and_read_again_with_a_mended_profile(house):
    house.profile(PROFILE.replace('"Date"', '"Date", format = "%d/%m/%Y"'))
    house.put("a.csv", csv(A, OTHER))
    summary = house.receive()
    assert (summary.files_held, summary.files_accepted, summary.rows_held) == (1, 0, 2)
    assert house.files("state", "reason_code") == [("held", "every_row_held")]
    assert house.counts() == [(2, 0, 2, 0, 0)]
    house.profile(PROFILE)
    assert house.receive().rows_accepted == 2
    assert house.counts() == [(2, 2, 0, 0, 0)] and house.held() == []


def test_the_summary_is_the_sum_of_the_ledger(house):
    house.put("a.csv", csv(A, B, OTHER, "m3,2025-02-03,F,35,,65.0"))
    house.put("b.csv", csv(OTHER, C))
    summary = house.receive()
    assert (summary.rows_read, summary.rows_accepted, summary.rows_held, summary.rows_duplicate) == (
        6,
        3,
        1,
        1,
    )
    assert house.counts() == [(4, 1, 1, 0, 2), (2, 1, 0, 1, 0)]
    assert summary.sentence() == (
        "files: 2 accepted; rows: 6 read = 3 accepted + 1 held + 1 duplicate + 1 superseded"
        "; 1 earlier reading replaced"
    )


def test_a_correction_of_earlier_files_says_how_many_readings_it_replaced(house):
    house.put("a.csv", csv(A, OTHER))
    first = house.receive()
    assert first.readings_replaced == 0 and "replaced" not in first.sentence()
    house.put("b.csv", csv(B, OTHER.replace("65.0", "66.0")))
    summary = house.receive()
    assert (summary.readings_replaced, summary.rows_superseded) == (2, 0)
    assert summary.sentence() == (
        "files: 1 accepted, 1 already received; rows: 2 read = 2 accepted + 0 held + 0 duplicate + 0 superseded"
        "; 2 earlier readings replaced"
    )


def test_a_correction_within_one_file_replaces_no_earlier_reading(house):
    house.put("a.csv", csv(A, B))
    summary = house.receive()
    assert (summary.readings_replaced, summary.rows_superseded) == (0, 1)


def test_files_read_with_an_earlier_profile_are_said_once_a_site_and_stay_as_read(two_sites):
    for site in ("north-quay", "east-pier"):
        two_sites.put("a.csv", csv(A), site=site)
        two_sites.put("b.csv", csv(OTHER), site=site)
    assert two_sites.receive().messages == []
    assert two_sites.receive().messages == []
    two_sites.profile(PROFILE.replace('"Wt"', '"Wt", unit = "[lb_av]"'))
    before = two_sites.accepted("weight_kg")
    two_sites.put("c.csv", csv("m3,2025-02-03,F,35,165.0,145.0"))
    summary = two_sites.receive()
    (message,) = summary.messages
    assert "found 2 files of site north-quay read with an earlier profile" in message
    assert "they stay as read" in message and "evenbeam rebuild" in message
    assert (summary.files_held, summary.files_of_earlier_profile, summary.files_already_received) == (0, 2, 4)
    assert two_sites.accepted("weight_kg")[:4] == before
    two_sites.profile(PROFILE)
    (message,) = two_sites.receive().messages
    assert "found 1 file of site north-quay" in message and "it stays as read" in message


def test_a_file_of_which_every_row_was_held_says_which_and_how_to_see_the_rows(house):
    house.put("a.csv", csv(A.replace(",65.0", ",heavy"), OTHER.replace(",65.0", ",light")))
    (message,) = house.receive().messages
    assert message.startswith("held  north-quay/a.csv\n      found 2 rows, and every one was held;")
    assert "`evenbeam status PROGRAMME --site north-quay --held`" in message
    assert "held  north-quay/a.csv, line 2, field weight (unreadable:weight)" in message
    (reason,) = house.files("reason")
    assert reason == message[: len(reason)] and "ledger." not in reason


def test_one_of_a_thing_is_spoken_of_in_the_singular(house):
    house.put("a.csv", csv(*[f"m{n},2025-02-03,F,35,165.0," for n in range(4)], OTHER, "m9"))
    message = house.receive().row_messages[0]
    assert (
        "2 more lines of this file were held: `evenbeam status PROGRAMME --site north-quay --held`" in message
    )
    house.put("b.csv", csv("m9", *[f"m{n},2025-02-03,F,35,165.0," for n in range(3)], OTHER))
    message = house.receive().row_messages[0]
    assert "found 1 field; expected 6 fields, as in the header" in message
    assert "1 more line of this file was held" in message
