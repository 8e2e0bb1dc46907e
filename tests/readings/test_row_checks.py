"""One reading by itself: what holds it, what is only remarked, and that one fault is named once."""

from datetime import date

import pytest

FULL = {
    "body_fat_percent": 30.0,
    "fat_mass_kg": 19.5,
    "fat_free_mass_kg": 45.5,
    "muscle_mass_kg": 43.0,
    "bone_mineral_mass_kg": 2.5,
    "total_body_water_kg": 33.2,
    "total_body_water_percent": 51.1,
    "basal_metabolic_rate_kcal_d": 1347,
    "bmi_printed_kg_m2": 23.9,
    "clothing_weight_kg": 1.0,
    "visceral_fat_level": 4,
    "metabolic_age_a": 33,
}


IMPERIAL_STEPS = {
    "height_step_cm": 1.27,
    "weight_step_kg": 0.2 * 0.45359237,
    "mass_step_kg": 0.2 * 0.45359237,
}


def codes(found):
    return [row[0] for row in found]


def test_a_sound_reading_with_every_field_has_no_code_and_no_flag(check):
    assert check(FULL) == [([], [], None)]


def test_a_reading_with_the_required_fields_only_is_sound(check):
    assert check({}) == [([], [], None)]


@pytest.mark.parametrize(
    ("column", "field"),
    [
        ("participant", "participant"),
        ("sex", "sex"),
        ("age", "age"),
        ("height_cm", "height"),
        ("weight_kg", "weight"),
        ("measured_on", "measured_on"),
    ],
)
def test_a_required_value_that_is_missing_is_named(check, column, field):
    assert codes(check({column: None})) == [[f"missing:{field}"]]


def test_an_unreadable_value_is_not_called_missing_as_well(check):
    assert codes(check({"height_cm": None, "unreadable": ["height"]})) == [["unreadable:height"]]


def test_an_unreadable_optional_value_holds_the_row(check):
    assert codes(check({"unreadable": ["body_fat_percent"]})) == [["unreadable:body_fat_percent"]]


def test_two_faults_are_both_named(check):
    assert codes(check({"sex": None, "resting_heart_rate_per_min": 400})) == [
        ["missing:sex", "out_of_range:resting_heart_rate"]
    ]


@pytest.mark.parametrize(
    "absent", [{"sex": None, "measured_on": None}, {"age": None, "height_cm": None, "weight_kg": None}]
)
def test_a_totals_line_is_not_a_reading_and_nothing_else(check, absent):
    assert codes(check(absent | {"body_fat_percent": 9999.0})) == [["not_a_reading"]]


def test_two_missing_values_are_still_a_reading(check):
    assert codes(check({"age": None, "height_cm": None})) == [["missing:age", "missing:height"]]


def test_the_day_of_the_run_is_not_the_future(check):
    assert codes(check({"measured_on": date(2026, 1, 15)}, {"measured_on": date(2026, 1, 16)})) == [
        [],
        ["measured_in_future"],
    ]


def test_a_day_before_there_were_analysers_is_out_of_range(check):
    assert codes(check({"measured_on": date(1979, 12, 31)}, {"measured_on": date(1980, 1, 1)})) == [
        ["out_of_range:measured_on"],
        [],
    ]


# ---- exchanges and unit slips -------------------------------------------------------------------------------


def test_exchanged_weight_and_height_is_held_with_the_pair_put_right(check):
    assert check({"height_cm": 57.0, "weight_kg": 166.0}) == [
        (["weight_height_exchanged"], [], "height 166.0 cm with weight 57.0 kg")
    ]


def test_exchanged_values_of_a_file_in_inches_and_pounds_are_seen_in_those_units(check):
    # 65 in and 143.3 lb written into each other's column
    row = {"height_cm": 143.3 * 2.54, "weight_kg": 65 * 0.45359237}
    assert check(row, **IMPERIAL_STEPS) == [
        (["weight_height_exchanged"], [], "height 165.1 cm with weight 65.0 kg")
    ]


def test_exchanged_values_of_a_file_in_metres_are_seen(check):
    assert codes(check({"height_cm": 6500.0, "weight_kg": 1.65})) == [["weight_height_exchanged"]]


@pytest.mark.parametrize(
    ("wrong", "code", "proposal"),
    [
        ({"height_cm": 65.0}, "height_in_inches", "height 165.1 cm with weight 65.0 kg"),
        ({"height_cm": 1.65}, "height_in_metres", "height 165.0 cm with weight 65.0 kg"),
        ({"weight_kg": 650.0}, "decimal_slip:weight", "height 165.0 cm with weight 65.0 kg"),
        ({"weight_kg": 6.5}, "decimal_slip:weight", "height 165.0 cm with weight 65.0 kg"),
        ({"height_cm": 1650.0}, "decimal_slip:height", "height 165.0 cm with weight 65.0 kg"),
    ],
)
def test_a_slip_is_held_and_its_only_explanation_proposed(check, wrong, code, proposal):
    assert check(wrong) == [([code], [], proposal)]


def test_pounds_in_a_kilogram_column_are_told_by_the_printed_bmi(check):
    assert check(FULL | {"weight_kg": 143.3}) == [
        (["weight_in_pounds"], [], "height 165.0 cm with weight 65.0 kg")
    ]


def test_pounds_in_a_kilogram_column_are_told_by_body_fat_alone(check):
    assert codes(check({"weight_kg": 143.3, "body_fat_percent": 30.0})) == [["weight_in_pounds"]]


def test_pounds_without_a_witness_are_a_possible_weight(check):
    assert codes(check({"weight_kg": 143.3})) == [[]]


def test_a_heavy_person_with_much_fat_is_not_taken_for_pounds(check):
    assert codes(check({"weight_kg": 143.3, "body_fat_percent": 51.0})) == [[]]


def test_kilograms_and_centimetres_are_seen_in_a_file_of_pounds_and_inches(check):
    # 50 kg written where pounds are expected is 22.7 kg: no adult of 165 cm
    assert codes(check({"weight_kg": 50 * 0.45359237}, {"height_cm": 165 * 2.54}, **IMPERIAL_STEPS)) == [
        ["weight_in_kilograms"],
        ["height_in_centimetres"],
    ]


def test_a_metric_file_is_not_told_that_it_should_be_in_pounds(check):
    assert codes(check({"weight_kg": 22.7}, {"height_cm": 165 * 2.54})) == [
        ["implausible_bmi"],
        ["out_of_range:height"],
    ]


def test_when_two_explanations_fit_alike_none_is_proposed(check):
    # 66.9 and 120: 169.9 cm with 120 kg, or with 120 lb
    assert check({"height_cm": 66.9, "weight_kg": 120.0}) == [(["out_of_range:height"], [], None)]


def test_the_printed_bmi_decides_between_two_explanations(check):
    assert codes(check({"height_cm": 66.9, "weight_kg": 120.0, "bmi_printed_kg_m2": 41.6})) == [
        ["height_in_inches"]
    ]


def test_an_exchange_names_no_consequence(check):
    assert codes(check(FULL | {"height_cm": 65.0, "weight_kg": 165.0})) == [["weight_height_exchanged"]]


def test_a_child_is_judged_as_a_child(check):
    child = {"age": 8, "height_cm": 128.0, "weight_kg": 26.0}
    assert codes(
        check(child, child | {"height_cm": 26.0, "weight_kg": 128.0}, child | {"weight_kg": 260.0})
    ) == [[], ["weight_height_exchanged"], ["decimal_slip:weight"]]


def test_a_body_mass_index_that_nobody_has_is_held(check):
    # at 150 cm BMI 10 is 22.5 kg
    short = {"height_cm": 150.0}
    assert codes(check(short | {"weight_kg": 22.5}, short | {"weight_kg": 22.4})) == [[], ["implausible_bmi"]]


def test_a_boys_bmi_beyond_five_standard_deviations_is_implausible(check):
    # age 10, 140 cm: z* = +5 is BMI 37.3, 73.1 kg
    boy = {"sex": "male", "age": 10, "height_cm": 140.0}
    assert codes(check(boy | {"weight_kg": 73.0}, boy | {"weight_kg": 73.3})) == [[], ["implausible_bmi"]]


# ---- fields that must agree ---------------------------------------------------------------------------------


def test_a_printed_bmi_may_be_rounded_or_cut_off(check):
    # 23.875 is printed 23.9, or cut off 23.8
    assert codes(
        check({"bmi_printed_kg_m2": 23.9}, {"bmi_printed_kg_m2": 23.8}, {"bmi_printed_kg_m2": 24.4})
    ) == [[], [], ["bmi_disagrees"]]


def test_a_file_that_prints_whole_bmi_is_allowed_whole_steps(check):
    assert codes(
        check({"bmi_printed_kg_m2": 24.0}, {"bmi_printed_kg_m2": 23.0}, {"bmi_printed_kg_m2": 26.0})
    ) == [[], [], ["bmi_disagrees"]]


def test_coarse_print_steps_of_pounds_and_half_inches_are_allowed_for(check):
    row = {"height_cm": 65 * 2.54, "weight_kg": 143.2 * 0.45359237, "bmi_printed_kg_m2": 24.1}
    assert codes(check(row, **IMPERIAL_STEPS)) == [[]]
    assert codes(check(row, height_step_cm=0.1, weight_step_kg=0.1)) == [["bmi_disagrees"]]


def test_a_changed_weight_is_named_once_with_the_weight_the_masses_make(check):
    assert check(FULL | {"weight_kg": 72.0}) == [
        (["weight_disagrees"], [], "weight 65.0 kg, as fat mass and fat-free mass add up")
    ]


def test_a_changed_weight_is_named_once_where_no_bmi_is_printed_too(check):
    assert codes(check(FULL | {"weight_kg": 72.0, "bmi_printed_kg_m2": None})) == [["weight_disagrees"]]


def test_a_changed_weight_without_masses_is_told_by_the_printed_bmi_only_once(check):
    row = {"weight_kg": 72.0, "bmi_printed_kg_m2": 23.9, "body_fat_percent": 30.0, "fat_mass_kg": 19.5}
    assert codes(check(row)) == [["bmi_disagrees"]]


def test_pounds_are_told_by_the_masses_where_no_bmi_is_printed(check):
    assert codes(check({"weight_kg": 143.3, "fat_mass_kg": 19.5, "fat_free_mass_kg": 45.5})) == [
        ["weight_in_pounds"]
    ]


def test_a_changed_height_is_told_by_the_printed_bmi(check):
    assert codes(check(FULL | {"height_cm": 171.0})) == [["bmi_disagrees"]]


def test_a_changed_fat_mass_is_told_by_balance_and_proposed(check):
    assert check(FULL | {"fat_mass_kg": 29.5}) == [
        (["mass_balance"], [], "fat mass 19.5 kg, as weight less fat-free mass")
    ]


def test_masses_may_miss_the_weight_by_print_steps_only(check):
    parts = {"fat_mass_kg": 19.5}
    assert codes(check(parts | {"fat_free_mass_kg": 45.8}, parts | {"fat_free_mass_kg": 45.9})) == [
        [],
        ["mass_balance"],
    ]


def test_a_changed_body_fat_is_told_by_fat_mass_and_proposed(check):
    assert check(FULL | {"body_fat_percent": 33.0}) == [
        (["fat_percent_disagrees"], [], "body fat 30.0 %, as fat mass over weight")
    ]


def test_body_fat_is_compared_with_fat_free_mass_where_fat_mass_is_not_printed(check):
    assert codes(
        check(
            {"body_fat_percent": 30.0, "fat_free_mass_kg": 45.5},
            {"body_fat_percent": 30.0, "fat_free_mass_kg": 40.5},
        )
    ) == [[], ["fat_percent_disagrees"]]


def test_a_changed_water_percentage_is_told_by_water(check):
    assert codes(check(FULL | {"total_body_water_percent": 55.0})) == [["water_percent_disagrees"]]


def test_a_part_larger_than_the_whole_is_held(check):
    assert codes(
        check(
            {"fat_free_mass_kg": 45.5, "muscle_mass_kg": 46.5, "bone_mineral_mass_kg": 2.5},
            {"fat_free_mass_kg": 45.5, "total_body_water_kg": 47.0},
        )
    ) == [["muscle_and_bone_over_fat_free_mass"], ["water_over_fat_free_mass"]]


def test_a_value_out_of_range_is_not_compared(check):
    assert codes(check(FULL | {"fat_mass_kg": 9999.0})) == [["out_of_range:fat_mass"]]


# ---- remarks ------------------------------------------------------------------------------------------------


def flags(found):
    assert [row[0] for row in found] == [[]] * len(found)
    return [row[1] for row in found]


def test_clothing_weight_of_nought_or_empty_is_remarked_where_the_file_carries_it(check):
    assert flags(check({"clothing_weight_kg": 1.0}, {"clothing_weight_kg": 0.0}, {})) == [
        [],
        ["clothing_weight_not_set"],
        ["clothing_weight_not_set"],
    ]


def test_clothing_weight_is_no_matter_where_the_file_does_not_carry_it(check):
    assert flags(check({}, {})) == [[], []]


def test_much_clothing_is_remarked(check):
    assert flags(check({"clothing_weight_kg": 3.0}, {"clothing_weight_kg": 3.1})) == [
        [],
        ["clothing_weight_unusual"],
    ]


def test_athlete_mode_needs_more_than_ten_hours_and_a_pulse_under_sixty(check):
    on, off = {"is_athlete_mode": True}, {"is_athlete_mode": False}
    athlete = {"cardio_hours_per_week": 10.5, "resting_heart_rate_per_min": 59.0}
    assert flags(
        check(
            on | athlete,
            on | athlete | {"cardio_hours_per_week": 10.0},
            on | athlete | {"resting_heart_rate_per_min": 60.0},
            off | athlete,
            off | athlete | {"cardio_hours_per_week": 10.0},
            on,
        )
    ) == [
        [],
        ["athlete_mode_not_supported"],
        ["athlete_mode_not_supported"],
        ["athlete_mode_missing"],
        [],
        [],
    ]


def test_athlete_mode_under_18_is_remarked(check):
    teen = {"height_cm": 165.0, "weight_kg": 55.0, "is_athlete_mode": True}
    assert flags(check(teen | {"age": 17}, teen | {"age": 18})) == [["athlete_mode_under_18"], []]


def test_a_basal_rate_far_from_the_equations_is_remarked(check):
    # 35 years, 165 cm, 65 kg: Mifflin 1347.4, Schofield 1373.8; 0.7 and 1.4 times are 943.2 and 1923.3
    assert flags(
        check(*({"basal_metabolic_rate_kcal_d": rate} for rate in (943.0, 944.0, 1923.0, 1924.0)))
    ) == [["bmr_far_from_equations"], [], [], ["bmr_far_from_equations"]]


def test_water_in_fat_free_mass_is_remarked_outside_65_to_80_percent(check):
    lean = {"fat_free_mass_kg": 40.0, "fat_mass_kg": 25.0}
    assert flags(check(*(lean | {"total_body_water_kg": water} for water in (25.9, 26.0, 32.0, 32.1)))) == [
        ["water_in_fat_free_mass_unusual"],
        [],
        [],
        ["water_in_fat_free_mass_unusual"],
    ]


def test_an_unusual_height_counts_and_is_remarked(check):
    man = {"sex": "male", "weight_kg": 95.0}  # 176 cm is typical: 140.8 to 211.2
    assert flags(check(*(man | {"height_cm": height} for height in (140.7, 140.9, 211.1, 211.3)))) == [
        ["height_unusual_for_age"],
        [],
        [],
        ["height_unusual_for_age"],
    ]


def test_a_row_is_returned_once_in_any_case(check, checking_store):
    check({}, {"height_cm": 57.0, "weight_kg": 166.0}, {"sex": None}, FULL)
    assert checking_store.rows("select line from checked order by line") == [(1,), (2,), (3,), (4,)]


def test_much_fat_free_mass_is_believed_when_the_printed_figures_confirm_the_weight(check):
    strong = {
        "sex": "male",
        "height_cm": 181.0,
        "weight_kg": 170.4,
        "body_fat_percent": 29.0,
    }  # 37 kg/m² fat-free
    assert codes(
        check(
            strong,
            strong | {"bmi_printed_kg_m2": 52.0},
            strong | {"fat_mass_kg": 49.4, "fat_free_mass_kg": 121.0},
        )
    )[1:] == [[], []]
    assert codes(check(strong)) != [[]]
