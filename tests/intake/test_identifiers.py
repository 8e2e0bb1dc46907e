"""Direct identifiers refuse the file whole; a clean file is let through."""

from datetime import date

import pytest
from invented_site import HEADER, csv

from pipeline.intake.identifiers import kind_of_content, kind_of_header

ROW = "m1,2025-02-03,F,35,165.0,65.0"
AS_OF = date(2025, 6, 30)


@pytest.mark.parametrize(
    "header",
    [
        "Name",
        "Full name",
        "Last Name",
        "FirstName",
        "surname",
        "Member name",
        "Username",
        "Vorname",
        "Nachname",
        "Nom",
        "Prénom",
        "Nom de famille",
        "Nombre",
        "Apellidos",
        "Cognome",
        "Nome",
        "Voornaam",
        "Achternaam",
        "Sobrenome",
        "Imię",
        "Nazwisko",
        "E-mail",
        "email_address",
        "Courriel",
        "Phone",
        "Mobile number",
        "Telefon",
        "Téléphone",
        "Teléfono",
        "Handynummer",
        "Address",
        "Anschrift",
        "Straße",
        "Dirección",
        "Indirizzo",
        "Endereço",
        "Postcode",
        "Zip code",
        "PLZ",
        "Code postal",
        "Kod pocztowy",
        "DOB",
        "Date of birth",
        "dateOfBirth",
        "Geburtsdatum",
        "Date de naissance",
        "Fecha de nacimiento",
        "Data di nascita",
        "Geboortedatum",
        "Data urodzenia",
        "NHS number",
        "National Insurance No",
        "Passport",
        "Versichertennummer",
        "Numéro de sécurité sociale",
        "DNI",
        "Codice fiscale",
        "BSN",
        "PESEL",
    ],
)
def test_a_header_that_announces_a_direct_identifier(header):
    assert kind_of_header(header)


@pytest.mark.parametrize(
    "header",
    [
        "Member",
        "Member no",
        "ID",
        "Device name",
        "Site name",
        "File name",
        "Sitename",
        "Analyser Name",
        "Nom du site",
        "Nombre del equipo",
        "Gerät Name",
        "Weight",
        "Age",
        "Birth weight",
        "Mac address",
        "Measured on",
        "Date",
        "Datum",
        "Data",
        "Fat mass",
        "Street fitness score",
        "Email-free",
        "Sex",
        "Ht",
        "Visceral fat rating",
        "Phase angle",
        "Notes",
        "Mobility",
        "Postural sway",
        "Nominal weight",
        "Telemetry",
        "Tare",
    ],
)
def test_a_header_that_announces_none(header):
    expected = header in (
        "Street fitness score",
        "Email-free",
    )  # whole words: these are refused, and rightly asked
    assert bool(kind_of_header(header)) == expected


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        (["ann@example.org", "bo@example.org", "", "cy@example.org"], "e-mail address"),
        (["ann@example.org", "none", "none", "none"], None),
        (["+44 20 7946 0018", "+44 20 7946 0019", "+44 20 7946 0020"], "telephone number"),
        (["020 7946 0018", "020 7946 0019", "020 7946 0020"], "telephone number"),
        (["1970-01-02", "1982-03-04", "1991-05-06"], "date of birth"),
        (["02.01.1970", "04.03.1982", "06.05.1991"], "date of birth"),
        (["2025-01-02", "2025-03-04", "2024-05-06"], None),  # days of measurement
        (["2015-01-02", "2015-03-04", "2015-05-06"], None),  # of an old file: one year
        (["165.0", "180.5", "171.2"], None),
        (["20250203", "20250204", "20250205"], None),
        (["2025-02-03 14:30", "2025-02-04 09:15", "2025-02-05 10:00"], None),
        (["0001234567", "0001234567", "0001234567"], None),  # one serial number, not people's
    ],
)
def test_content_is_judged_by_a_clear_majority(values, kind):
    assert kind_of_content([value for value in values if value], as_of=AS_OF) == kind


def test_a_majority_is_six_in_ten():
    mails = ["ann@example.org"]
    assert kind_of_content(mails * 6 + ["-"] * 4, as_of=AS_OF) == "e-mail address"
    assert kind_of_content(mails * 5 + ["-"] * 5, as_of=AS_OF) is None


def test_a_participants_number_may_begin_with_zeros_but_not_with_a_country_code():
    numbers = ["0001234567", "0001234568", "0001234569"]
    assert kind_of_content(numbers, as_of=AS_OF) == "telephone number"
    assert kind_of_content(numbers, as_of=AS_OF, is_participant=True) is None
    assert (
        kind_of_content([f"+44{n}" for n in numbers], as_of=AS_OF, is_participant=True) == "telephone number"
    )


def test_old_measurement_dates_are_no_birthdays():
    days = ["2008-01-02", "2009-03-04", "2010-05-06"]
    assert kind_of_content(days, as_of=AS_OF) == "date of birth"
    assert kind_of_content(days, as_of=AS_OF, is_measured_on=True) is None


def test_a_refused_file_is_nowhere_and_its_values_are_in_no_message(house):
    house.put("a.csv", csv(ROW + ",Zaphod Beeblebrox", header=HEADER + ",Client name"))
    summary = house.receive()
    assert (summary.files_refused, summary.files_accepted, summary.rows_read) == (1, 0, 0)
    assert "column Client name: name of a person (by its header)" in summary.messages[0]
    assert house.archived() == []
    state, code, reason = house.files("state", "reason_code", "reason")[0]
    assert (state, code) == ("refused", "direct_identifier")
    assert "Zaphod" not in summary.messages[0] + reason


def test_an_identifier_in_a_column_that_the_profile_does_not_use_refuses_too(house):
    rows = [f"m{n},2025-02-03,F,35,165.0,65.0,p{n}@example.org" for n in range(5)]
    house.put("a.csv", csv(*rows, header=HEADER + ",Contact"))
    summary = house.receive()
    assert (
        summary.files_refused == 1
        and "column Contact: e-mail address (by its content)" in summary.messages[0]
    )
    assert "example.org" not in summary.messages[0]


def test_a_clean_file_beside_it_goes_on(house):
    house.put("a.csv", csv(ROW + ",x", header=HEADER + ",Name"))
    house.put("b.csv", csv(ROW))
    summary = house.receive()
    assert (summary.files_refused, summary.files_accepted) == (1, 1)
