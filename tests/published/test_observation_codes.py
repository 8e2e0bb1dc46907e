# HL7 FHIR R4, example Observation/example ("Simple Weight Example", hl7.org/fhir/observation-example.json): LOINC
# codings 29463-7 and 3141-9 beside two of other systems, 185 in UCUM [lb_av], effective 2016-03-28. Typed from the
# standard's published example, its narrative left out; the codes and value were seen on that page.
# 1 lb = 0.45359237 kg exactly (international yard and pound agreement 1959): 185 lb = 83.91458845 kg.
# Displays of the codes: the source beside each in pipeline/observation_codes.py; docs/fhir.md repeats the table.

import re
from pathlib import Path

import pytest

from pipeline import measures, observation_codes
from pipeline.intake.readers.fhir_people import identifying_elements
from pipeline.intake.readers.fhir_value import Digits, said_of
from pipeline.programme import Profile

EXAMPLE = {
    "resourceType": "Observation",
    "id": "example",
    "status": "final",
    "code": {
        "coding": [
            {"system": "http://loinc.org", "code": "29463-7"},
            {"system": "http://loinc.org", "code": "3141-9"},
            {"system": "http://snomed.info/sct", "code": "27113001"},
            {"system": "http://acme.org/devices/clinical-codes", "code": "body-weight"},
        ]
    },
    "subject": {"reference": "Patient/example"},
    "effectiveDateTime": "2016-03-28",
    "valueQuantity": {
        "value": Digits("185"),
        "unit": "lbs",
        "system": "http://unitsofmeasure.org",
        "code": "[lb_av]",
    },
}


def test_the_standards_weight_is_read_exactly():
    assert said_of(EXAMPLE, measures.FIELDS["weight"]) == "83.91458845"


def test_the_standards_codes_mean_one_field():
    profile = Profile.model_validate({"format": "fhir"})
    tokens = {
        token: name
        for name, column in profile.columns.items()
        for token in observation_codes.tokens_of(column.header)
    }
    codings = [f"{one['system']}|{one['code']}" for one in EXAMPLE["code"]["coding"]]
    assert {tokens[code] for code in codings if code in tokens} == {"weight"}


def test_the_standards_narrative_is_refused():
    assert list(identifying_elements(EXAMPLE)) == []
    narrated = EXAMPLE | {"text": {"status": "generated", "div": "<div>…</div>"}}
    assert [path for path, _ in identifying_elements(narrated)] == ["Observation.text.div"]


# Common practice: the last digit of a LOINC code is a modulus 10 check digit (LOINC users' guide, from memory).
@pytest.mark.parametrize("one", observation_codes.OBSERVATION_CODES, ids=lambda one: one.code)
def test_each_code_carries_its_check_digit_a_known_field_and_a_line_in_the_documents(one):
    number, check = one.code.split("-")
    doubled = [int(digit) * (2 if place % 2 == 0 else 1) for place, digit in enumerate(reversed(number))]
    total = sum(sum(map(int, str(value))) for value in doubled)
    assert (10 - total % 10) % 10 == int(check)
    assert one.field in measures.FIELDS
    page = (Path(__file__).parents[2] / "docs" / "fhir.md").read_text(encoding="utf-8")
    assert re.search(
        rf"^\| {one.code} \| {one.field} \| {re.escape(one.display)} \| {re.escape(one.source)} \|$",
        page,
        re.M,
    )
