"""Whoever withdraws leaves a kept file of FHIR resources with every line about them, wherever it stands."""

import io
import json

from invented_programme import PERSON, Invented

from pipeline.intake import archive
from pipeline.intake.kept_resources import lines_that_leave

LOINC, UCUM = "http://loinc.org", "http://unitsofmeasure.org"
CODES = {"30525-0": (35, "a"), "8302-2": (170, "cm"), "29463-7": (70, "kg"), "8867-4": (60, "/min")}


def patient(subject):
    return {"resourceType": "Patient", "id": subject, "gender": "female"}


def observation(subject, code, day, value, unit):
    return {
        "resourceType": "Observation",
        "status": "final",
        "code": {"coding": [{"system": LOINC, "code": code}]},
        "subject": {"reference": f"Patient/{subject}"},
        "effectiveDateTime": day,
        "valueQuantity": {"value": value, "system": UCUM, "code": unit},
    }


def by_code(subjects, day):
    """As an export may come: all patients first, then every subject's age, then every height, and so on."""
    return [patient(one) for one in subjects] + [
        observation(one, code, day, value + n / 10, unit)
        for code, (value, unit) in CODES.items()
        for n, one in enumerate(subjects)
    ]


def lines(resources):
    return [json.dumps(one) for one in resources]


def test_no_line_about_who_withdrew_is_kept_and_everybody_elses_is(tmp_path, monkeypatch):
    programme = Invented(tmp_path)
    (tmp_path / "programme.toml").write_text(
        'name = "Harbour"\n[[site]]\nid = "gull-yard"\nname = "Gull Yard"\nprofile = "p.toml"\n'
    )
    (tmp_path / "p.toml").write_text('format = "fhir"\n')
    subjects = [str(1000 + n) for n in range(40)]
    text = lines(by_code([*subjects[:20], PERSON, *subjects[20:]], "2025-02-03T08:00:00Z"))
    path = tmp_path / "inbox" / "gull-yard" / "a.ndjson"
    path.parent.mkdir(parents=True)
    path.write_text("\n".join(text) + "\n")
    assert programme.run("run", str(tmp_path), "--as-of", "2025-07-10") == 0
    assert len(programme.is_anywhere(PERSON)) == 1
    monkeypatch.setattr("sys.stdin", io.StringIO(PERSON + "\n"))
    assert programme.run("withdraw", str(tmp_path), "--as-of", "2025-07-10") == 0
    assert programme.is_anywhere(PERSON) == []
    assert programme.accounts() == [("gull-yard/a.ndjson", 41, 40, 0, 0, 0, 1, 0)]
    with programme.opened() as store:
        kept = archive.path_of(programme.store / "archive", store.value("select kept_sha256 from ledger.file"))
    assert kept.read_text().splitlines() == ["" if PERSON in line else line for line in text]


def test_a_reading_past_its_time_goes_with_its_day_and_the_person_stays():
    old = [observation("p1", *rest) for rest in (("29463-7", "2024-02-03T08:00:00Z", 70, "kg"),
                                                 ("30525-0", "2024-02-03", 35, "a"))]  # fmt: skip
    new = [observation("p1", *rest) for rest in (("29463-7", "2025-02-03T08:00:00Z", 71, "kg"),
                                                 ("30525-0", "2025-02-03", 36, "a"))]  # fmt: skip
    other = observation("p2", "29463-7", "2024-02-03T08:00:00Z", 80, "kg")
    text = lines([patient("p1"), old[0], new[0], patient("p2"), new[1], other, old[1]])
    assert lines_that_leave(text, {2}, [2, 3, 6]) == {2, 7}
    assert lines_that_leave(text, {2, 3}, [2, 3, 6]) == {1, 2, 3, 5, 7}


def test_a_day_that_keeps_a_reading_keeps_what_was_said_of_the_day():
    text = lines([
        observation("p1", "30525-0", "2025-02-03", 35, "a"),
        observation("p1", "29463-7", "2025-02-03T08:00:00Z", 700, "kg"),
        observation("p1", "29463-7", "2025-02-03T09:00:00Z", 70, "kg"),
    ])  # fmt: skip
    assert lines_that_leave([*text, "no json"], {2, 4}, [2, 3]) == {2, 4}
