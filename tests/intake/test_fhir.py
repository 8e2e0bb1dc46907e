"""FHIR resources: which value becomes which field of which reading, and what is never guessed."""

import json
from fractions import Fraction

import pytest
from invented_site import profile_of

from pipeline import measures
from pipeline.faults import SettingsFault
from pipeline.intake.inspect import inspect_file
from pipeline.intake.readers.fhir_value import Digits, plain, said_of

PROFILE = 'format = "fhir"\n'
LOINC, UCUM = "http://loinc.org", "http://unitsofmeasure.org"
MORNING = "2025-02-03T08:15:00+01:00"


def quantity(value, unit, system=UCUM):
    return {"valueQuantity": {"value": value, "unit": unit, "system": system, "code": unit}}


def observation(
    code, value, *, subject="p1", moment=MORNING, device=None, status="final", system=LOINC, **more
):
    found = {
        "resourceType": "Observation",
        "status": status,
        "code": {"coding": [{"system": system, "code": code, "display": "as the sender calls it"}]},
        "subject": {"reference": f"Patient/{subject}"},
        "effectiveDateTime": moment,
        **value,
        **more,
    }
    return found | ({"device": {"reference": f"Device/{device}"}} if device else {})


def patient(subject="p1", gender="female", **more):
    return {"resourceType": "Patient", "id": subject, "gender": gender, **more}


def whole(subject="p1", moment=MORNING, kg=64.5, **more):
    """A patient, and the observations that make one complete reading."""
    return [
        patient(subject),
        observation("30525-0", quantity(35, "a"), subject=subject, moment=moment, **more),
        observation("8302-2", quantity(165.5, "cm"), subject=subject, moment=moment, **more),
        observation("29463-7", quantity(kg, "kg"), subject=subject, moment=moment, **more),
    ]


def ndjson(*resources):
    return "".join(json.dumps(one) + "\n" for one in resources)


@pytest.fixture
def site(house):
    house.profile(PROFILE)
    return house


def test_observations_of_one_subject_and_moment_are_one_reading(site):
    fat = observation("41982-0", quantity(28.5, "%"))
    site.put("a.ndjson", ndjson(*whole(), fat, *whole("p2", kg=80)))
    assert site.receive().rows_accepted == 2
    assert site.accepted(
        "line", "measured_at::varchar", "sex", "age", "height_cm", "weight_kg", "body_fat_percent"
    ) == [
        (2, "2025-02-03 08:15:00", "female", 35, 165.5, 64.5, 28.5),
        (7, "2025-02-03 08:15:00", "female", 35, 165.5, 80.0, None),
    ]


def test_two_moments_are_two_readings_and_a_repeated_file_is_harmless(site):
    later = whole(moment="2025-02-04T08:00:00+01:00")[1:]
    site.put("a.ndjson", ndjson(*whole(), *later))
    site.put("b.ndjson", ndjson(*whole()))
    site.receive()
    assert site.counts() == [(2, 2, 0, 0, 0), (1, 0, 0, 1, 0)]


def test_the_components_of_a_panel_count_like_observations(site):
    codes = {"30525-0": quantity(35, "a"), "8302-2": quantity(165.5, "cm"), "29463-7": quantity(64.5, "kg")}
    parts = [
        {"code": {"coding": [{"system": LOINC, "code": code}]}, **value} for code, value in codes.items()
    ]
    panel = observation("some-panel", {}, system="urn:harbour", component=parts)
    site.put("a.ndjson", ndjson(patient(), panel))
    site.receive()
    assert site.accepted("line", "age", "height_cm", "weight_kg") == [(2, 35, 165.5, 64.5)]


def test_units_are_converted_and_a_unit_of_another_kind_holds_the_row(site):
    def with_weight(subject, value):
        return [*whole(subject)[:3], observation("29463-7", value, subject=subject)]

    site.put(
        "a.ndjson",
        ndjson(
            *with_weight("p1", quantity(158, "[lb_av]")),
            *with_weight("p2", quantity(64.5, "cm")),
            *with_weight("p3", quantity(64.5, "kg", system="urn:other")),
            *with_weight("p4", {"valueQuantity": {"value": 64.5, "unit": "kg"}}),
            *with_weight(
                "p5", {"valueQuantity": quantity(64.5, "kg")["valueQuantity"] | {"comparator": "<"}}
            ),
            *with_weight("p6", {"valueString": "64.5 kg"}),
        ),
    )
    site.receive()
    assert site.accepted("weight_kg") == [71.66759446]
    assert [codes for _, codes in site.held()] == [["unreadable:weight"]] * 5
    assert site.store.value("select expected from ledger.held_row limit 1").startswith(
        "one quantity with a UCUM"
    )


def test_two_values_of_one_field_are_not_chosen_between_but_equal_ones_are_one(site):
    again = observation("3141-9", quantity(64500, "g"))
    other = observation("3141-9", quantity(64.7, "kg"), subject="p2")
    site.put("a.ndjson", ndjson(*whole(), again, *whole("p2"), other))
    site.receive()
    assert site.accepted("participant is not null", "weight_kg") == [(True, 64.5)]
    assert site.held() == [(7, ["unreadable:weight"])]


def test_only_final_amended_and_corrected_values_count_and_nothing_vanishes(site):
    statuses = ["final", "amended", "corrected", "preliminary", "entered-in-error", "cancelled", "registered"]
    resources = [one for n, status in enumerate(statuses) for one in whole(f"p{n}", kg=60 + n, status=status)]
    site.put("a.ndjson", ndjson(*resources))
    site.receive()
    assert site.accepted("weight_kg") == [60, 61, 62]
    assert [codes for _, codes in site.held()] == [["not_a_reading"]] * 4


def test_an_absent_value_is_missing_and_not_unreadable(site):
    absent = {"dataAbsentReason": {"coding": [{"code": "not-performed"}]}}
    fat = observation("41982-0", absent)
    weight = observation("29463-7", absent, subject="p2")
    site.put("a.ndjson", ndjson(*whole(), fat, *whole("p2")[:3], weight))
    site.receive()
    assert site.accepted("weight_kg", "body_fat_percent") == [(64.5, None)]
    assert [codes for _, codes in site.held()] == [["missing:weight"]]


def test_an_analyser_parts_readings_and_what_names_none_belongs_to_each(site):
    weights = [
        observation("29463-7", quantity(kg, "kg"), device=device)
        for device, kg in (("d1", 64.5), ("d2", 64.9))
    ]
    site.put("a.ndjson", ndjson(*whole()[:3], *weights))
    site.receive()
    received = "select line, device, height, weight from received order by line"
    assert site.store.rows(received) == [(4, "d1", "165.5", "64.5"), (5, "d2", "165.5", "64.9")]


def test_age_of_the_day_belongs_to_the_readings_of_that_day(site):
    age = observation("30525-0", quantity(35, "a"), moment="2025-02-03")
    resources = [patient(), age, *whole()[2:], *whole(moment="2025-02-04T08:00:00+01:00")[2:]]
    site.put("a.ndjson", ndjson(*resources))
    site.receive()
    assert site.accepted("line", "age") == [(3, 35)]
    assert site.held() == [(5, ["missing:age"])]  # the day after has none


def test_sex_comes_from_an_observation_or_else_from_the_patient(site):
    coded = observation(
        "76689-9", {"valueCodeableConcept": {"coding": [{"system": "urn:x", "code": "male"}]}}, subject="p2"
    )
    other = [patient("p3", "other"), *whole("p3")[1:]]
    site.put("a.ndjson", ndjson(*whole(), *whole("p2", kg=70), coded, *other))
    site.receive()
    assert site.accepted("sex") == ["female", "male"]
    assert [codes for _, codes in site.held()] == [["unreadable:sex"]]


def test_local_codes_are_read_where_the_profile_names_them(site):
    site.profile(PROFILE + '[columns]\nvisceral_fat_level = { header = "urn:harbour|vfl" }\n')
    level = observation("vfl", {"valueInteger": 7}, system="urn:harbour")
    same_code_elsewhere = observation("vfl", {"valueInteger": 9}, system="urn:other")
    site.put("a.ndjson", ndjson(*whole(), level, same_code_elsewhere))
    site.receive()
    assert site.accepted("visceral_fat_level") == [7]


def test_an_age_in_months_is_floored_to_years_or_kept_where_the_profile_wants_months(site):
    def aged(months):
        return [patient(), observation("30525-0", quantity(months, "mo")), *whole()[2:]]

    site.put("a.ndjson", ndjson(*aged(191)))
    site.receive()
    assert site.accepted("age", "age_months") == [(15, None)]
    site.profile(PROFILE + '[columns]\nage = { unit = "mo" }\n')
    site.put("b.ndjson", ndjson(*[one | {"effectiveDateTime": "2025-03-01T08:00:00Z"} for one in aged(192)]))
    site.receive()
    assert site.accepted("age", "age_months")[1:] == [(16, 192)]


@pytest.mark.parametrize(
    ("resource", "column"),
    [
        (patient(birthDate="1990-01-01"), "Patient.birthDate: date of birth"),
        (patient(_birthDate={"extension": []}), "Patient.birthDate: date of birth"),
        (patient(name=[{"family": "X"}]), "Patient.name: name of a person"),
        (patient(telecom=[{"value": "X"}]), "Patient.telecom: telephone"),
        (patient(address=[{"city": "X"}]), "Patient.address: address"),
        (patient(photo=[{"url": "X"}]), "Patient.photo: photograph"),
        (patient(contact=[{"gender": "male"}]), "Patient.contact: name of a person"),
        (patient(identifier=[{"value": "X"}]), "Patient.identifier: identifier of a person"),
        (patient(text={"div": "<div>X</div>"}), "Patient.text.div: narrative"),
        (observation("29463-7", {}, note=[{"authorString": "X"}]), "Observation.note.authorString: name"),
        (observation("29463-7", {}, contained=[patient(name=[])]), "Observation.contained.name: name"),
        (observation("29463-7", {}, performer=[{"display": "X"}]), "Observation.performer.display: name"),
        (
            observation("29463-7", {}) | {"subject": {"identifier": {"value": "X"}}},
            "Observation.subject.identifier",
        ),
    ],
)
def test_whatever_says_who_somebody_is_refuses_the_file_and_is_not_repeated(site, resource, column):
    site.put("a.ndjson", ndjson(*whole(), resource))
    summary = site.receive()
    assert summary.files_refused == 1 and column in summary.messages[0]
    assert "1990" not in summary.messages[0] and site.archived() == []


def test_identifiers_of_things_are_no_reason_to_refuse(site):
    resources = whole()
    resources[3] |= {
        "identifier": [{"value": "obs-1"}],
        "device": {"reference": "Device/d1", "display": "left"},
    }
    site.put("a.ndjson", ndjson(*resources))
    assert site.receive().files_accepted == 1


def test_a_line_that_is_no_resource_is_held_and_the_others_are_read(site):
    site.put("a.ndjson", ndjson(*whole()) + '{"resourceType": "Observation", \n{"status": 1, "status": 2}\n')
    site.receive()
    assert site.counts() == [(3, 1, 2, 0, 0)]
    assert site.held() == [(5, ["row_cut_off"]), (6, ["too_many_fields"])]


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (ndjson(patient()), "no Observation"),
        (ndjson({"resourceType": "Encounter"}, *whole()), "type Encounter"),
        (ndjson({"resourceType": "Bundle", "entry": []}), "type Bundle"),
        (ndjson(*whole()[:3]), "no value of weight (codes: http://loinc.org|30525-0"),
        (ndjson(*whole()[1:]), "no value of sex"),
        ("a,b\n1,2\n", "no FHIR resource"),
    ],
)
def test_a_file_without_what_is_needed_is_held_whole_and_says_why(site, content, found):
    site.put("a.ndjson", content)
    summary = site.receive()
    assert summary.files_held == 1 and found in summary.messages[0]


def test_a_required_field_may_be_a_constant(site):
    site.profile(PROFILE + '[constants]\nsex = "male"\n')
    site.put("a.ndjson", ndjson(*whole()[1:]))
    site.receive()
    assert site.accepted("sex") == ["male"]


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ('weight = { header = "29463-7" }', "system|code"),
        ('fat_mass = { header = "http://loinc.org|29463-7" }', "stands for"),
        ('weight = { unit = "kg" }', "the unit comes with the value"),
        ("height = { written_units = true }", "how values are written"),
    ],
)
def test_a_profile_that_cannot_be_meant_is_refused(tmp_path, columns, said):
    with pytest.raises(SettingsFault, match="profile") as fault:
        profile_of(f"{PROFILE}[columns]\n{columns}\n", tmp_path)
    assert said in str(fault.value)


def test_inspect_proposes_a_profile_that_reads_the_file(site, tmp_path):
    path = tmp_path / "a.ndjson"
    path.write_text(ndjson(*whole(), observation("vfl", {"valueInteger": 7}, system="urn:harbour")))
    found = inspect_file(path)
    assert found.undecided == [] and any("urn:harbour|vfl" in reason for reason in found.reasons)
    site.profile(found.profile_toml)
    site.put("a.ndjson", path.read_bytes())
    assert site.receive().rows_accepted == 1


def test_inspect_leaves_open_what_no_resource_gives(tmp_path):
    path = tmp_path / "a.ndjson"
    path.write_text(ndjson(*whole()[:2]))
    found = inspect_file(path)
    assert found.undecided == ["height: no resource gives it", "weight: no resource gives it"]
    with pytest.raises(SettingsFault):
        profile_of(found.profile_toml, tmp_path)


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (Fraction("71.66759446"), "71.66759446"),
        (Fraction(-5, 100), "-0.05"),
        (Fraction(1200), "1200"),
        (Fraction(1, 3), "0.3333333333333333"),
        (Fraction(1, 10**7), "0.0000001"),
    ],
)
def test_numbers_are_written_without_an_exponent(number, text):
    assert plain(number) == text


@pytest.mark.parametrize("digits", ["1e999999999", "NaN", "1" * 40, "0x10", ""])
def test_a_number_that_is_none_is_not_worked_out(digits):
    holder = {"valueQuantity": {"value": Digits(digits), "system": UCUM, "code": "kg"}}
    assert said_of(holder, measures.FIELDS["weight"]) == "(no number)"


@pytest.mark.parametrize(
    ("unit", "field", "said"),
    [
        ("{beats}/min", "resting_heart_rate", "60"),
        ("1/min", "resting_heart_rate", "60"),
        ("{level}", "visceral_fat_level", "60"),
        ("kJ/d", "basal_metabolic_rate", plain(Fraction(60 * 1000, 4184))),
        ("1", "body_fat_percent", "6000"),
        ("%", "weight", "60 %"),
    ],
)
def test_ucum_annotations_have_no_meaning_and_units_keep_theirs(unit, field, said):
    holder = {"valueQuantity": {"value": Digits("60"), "system": UCUM, "code": unit}}
    assert said_of(holder, measures.FIELDS[field]) == said
