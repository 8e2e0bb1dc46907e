"""What a coded observation says: which LOINC code is which field, and where each pairing was read.

A code is named as FHIR's search syntax writes it, `system|code`; several with a comma between them. LOINC has no code
for a visceral fat level, a metabolic age, clothing weight or athlete mode, and none that was found beyond doubt for
fat-free mass, bone mineral mass and basal metabolic rate: there a profile names the site's own.
"""

from __future__ import annotations

from dataclasses import dataclass

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"

# Elements of the resources that a field may be read from instead of an observation.
SUBJECT, MOMENT, GENDER, DEVICE = "subject", "effectiveDateTime", "Patient.gender", "device"


@dataclass(frozen=True)
class ObservationCode:
    code: str  # LOINC
    field: str  # of measures.FIELDS
    display: str
    source: str  # where the code and its display were read


# fmt: off
OBSERVATION_CODES: tuple[ObservationCode, ...] = (
    ObservationCode("30525-0", "age", "Age", "HL7 Terminology, value set LOINCObservationActContextAgeDefinitionCode"),
    ObservationCode("46098-0", "sex", "Sex", "HL7 FHIR extensions, value set recorded-sex-or-gender-type"),
    ObservationCode("76689-9", "sex", "Sex assigned at birth",
                    "HL7 FHIR extensions, value set recorded-sex-or-gender-type"),
    ObservationCode("8302-2", "height", "Body height", "HL7 FHIR R4, profile bodyheight"),
    ObservationCode("3137-7", "height", "Body height Measured", "HL7 PACIO guide, value set pfe-body-structures"),
    ObservationCode("29463-7", "weight", "Body weight", "HL7 FHIR R4, profile bodyweight"),
    ObservationCode("3141-9", "weight", "Body weight Measured",
                    "HL7 FHIR, value set observation-vitalsign-bodyweight (LOINC 2.81)"),
    ObservationCode("41982-0", "body_fat_percent", "Percentage of body fat Measured", "an HL7 guide"),
    ObservationCode("73708-0", "fat_mass", "Body fat [Mass] Calculated", "a page derived from LOINC"),
    ObservationCode("73964-9", "muscle_mass", "Body muscle mass Calculated", "a page derived from LOINC"),
    ObservationCode("101683-1", "total_body_water", "Body water mass", "a page derived from LOINC 2.75"),
    ObservationCode("101684-9", "total_body_water_percent", "Percentage of body water",
                    "a page derived from LOINC 2.75"),
    ObservationCode("39156-5", "bmi", "Body mass index (BMI) [Ratio]", "HL7 FHIR R4, profile bmi"),
    ObservationCode("40443-4", "resting_heart_rate", "Heart rate --resting",
                    "HL7 Physical Activity guide, value set pa-observation-code-time (LOINC 2.77)"),
)
# fmt: on


def usual_headers() -> dict[str, str]:
    """field → where it is read from when a profile does not say: elements, and codes as `system|code,system|code`."""
    found = {"participant": SUBJECT, "measured_on": MOMENT, "device": DEVICE}
    for one in OBSERVATION_CODES:
        token = f"{LOINC}|{one.code}"
        found[one.field] = f"{found[one.field]},{token}" if one.field in found else token
    return {**found, "sex": f"{found['sex']},{GENDER}"}


def tokens_of(header: str) -> list[str]:
    """The codes and elements that a header names."""
    return [token.strip() for token in header.split(",") if token.strip()]
