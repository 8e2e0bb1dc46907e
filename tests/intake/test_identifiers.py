"""Direct identifiers refuse the file whole; a clean file is let through."""

from datetime import date

import pytest
from invented_site import HEADER, PROFILE, csv

from pipeline.seal.full_names import are_full_names, is_name_like
from pipeline.seal.identifier_content import kind_of_content
from pipeline.seal.identifier_headers import kind_of_header

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
        (["ann@example.org", "none", "none", "none"], "e-mail address"),  # one is enough
        (["none", "write to ann@example.org please"], "e-mail address"),
        (["@home", "10 @ 60", "60@30.5", "m1@quay", "none"], None),
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
        (["0.123456789", "0.987654321", "0,555444333"], None),  # decimals
        ([f"{1990 + n}-05-06" for n in range(20)], None),  # a log in the order of time
        ([f"{1990 + n}-05-06" for n in range(19)], "date of birth"),
        ([f"{1990 + n * 7 % 20}-05-06" for n in range(20)], "date of birth"),
    ],
)
def test_content_is_judged_by_a_clear_majority_and_an_address_alone(values, kind):
    assert kind_of_content([value for value in values if value], as_of=AS_OF) == kind


def test_a_majority_is_six_in_ten():
    numbers = [f"020 7946 001{n}" for n in range(10)]
    other = [f"remark {n}" for n in range(10)]
    assert kind_of_content(numbers[:6] + other[:4], as_of=AS_OF) == "telephone number"
    assert kind_of_content(numbers[:5] + other[:5], as_of=AS_OF) is None


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


def test_the_shortest_values_that_are_looked_at():
    """Eight characters can be a day; fewer are an address or nothing."""
    assert kind_of_content(["1/2/1990", "3/4/1985", "5/6/1971"], as_of=AS_OF) == "date of birth"
    assert kind_of_content(["1/2/199", "3/4/198", "5/6/197"], as_of=AS_OF) is None
    assert kind_of_content(["72.5", "a@b.org", "80"], as_of=AS_OF) == "e-mail address"


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


@pytest.mark.parametrize("place", [3, 250, 399])
def test_one_address_in_any_row_refuses_the_file_and_names_the_column_or_the_line(house, place):
    rows = [f"m{n},2025-02-03,F,35,165.0,65.0," for n in range(400)]
    rows[place] += "ann@example.org"
    house.put("a.csv", csv(*rows, header=HEADER + ",Contact"))
    summary = house.receive()
    shown = "column Contact" if place < 200 else f"line {place + 2}"
    assert f"found {shown}: e-mail address (by its content); expected" in summary.messages[0]
    assert (summary.files_refused, house.archived(), house.accepted("line")) == (1, [], [])
    assert "example.org" not in summary.messages[0] + house.files("reason")[0]


def test_an_address_in_the_participants_column_or_in_the_header_line_refuses_too(house):
    house.put("a.csv", csv(ROW, "ann@example.org,2025-02-03,F,35,165.0,65.0"))
    house.put("b.csv", csv(ROW + ",x", header=HEADER + ",ann@example.org"))
    summary = house.receive()
    assert summary.files_refused == 2
    assert "column Member: e-mail address (by its content)" in summary.messages[0]
    assert "column number 7: e-mail address (by its header)" in summary.messages[1]


def test_an_address_in_a_preamble_names_nobody_measured(house):
    house.profile(PROFILE.replace("[columns]", "header_row = 2\n[columns]"))
    house.put("a.csv", "Exported by desk@example.org\n" + csv(ROW))
    assert house.receive().files_accepted == 1
    house.put("b.csv", "Exported by desk@example.org\n" + csv(*[ROW] * 300, "m2 ann@example.org,,,,,"))
    assert "found line 303: e-mail address" in house.receive().messages[0]


def test_clean_rows_with_the_sign_in_them_are_let_through(house):
    rows = [f"m{n},2025-02-03,F,35,165.0,65.0,3 x 10 @ 60.5 kg @home" for n in range(400)]
    house.put("a.csv", csv(*rows, header=HEADER + ",Remark"))
    assert house.receive().rows_accepted == 400


NAMES = [
    "Zaphod Beeblebrox",
    "Trillian McMillan",
    "Arthur P. Dent",
    "Ford Prefect",
    "PROSSER Lewis",
    "Slartibartfast van Magrathea",
]
HALLS = ["North Quay", "East Pier", "Harbour Hall", "South Basin", "West Dock", "Market Square"]


@pytest.mark.parametrize("header", ["Kunde", "Who", "Column7"])
def test_full_names_under_an_unknown_header_refuse_the_file(house, header):
    house.put("a.csv", csv(*_rows_with(NAMES), header=f"{HEADER},{header}"))
    summary = house.receive()
    assert f"column {header}: name-like text (by its content)" in summary.messages[0]
    assert summary.files_refused == 1 and "Beeblebrox" not in repr(house.files("reason"))


def test_people_measured_several_times_have_names_all_the_same(house):
    rows = [row.replace("02-03", day) for day in ("02-03", "02-10", "02-17") for row in _rows_with(NAMES)]
    house.put("a.csv", csv(*rows, header=f"{HEADER},Who"))
    assert house.receive().files_refused == 1


@pytest.mark.parametrize(
    "values",
    [
        HALLS,
        NAMES[:4],  # too few to tell
        [*NAMES[:3], "x1", "x2", "x3"],  # 3 of 6 different values
        ["Very High", "Slightly Low", "Body Scan", "Yoga Flow", "Type A", "Level Two"],
        ["Felt tired", "Late today", "New shoes", "After lunch", "Second try", "Cold room"],
        ["HD 100 A", "HD 200 B", "HD 300 C", "QX-1 North", "Unit 5 East", "AB CD"],
    ],
)
def test_places_levels_codes_and_remarks_are_no_names(house, values):
    house.put("a.csv", csv(*_rows_with(values), header=f"{HEADER},Kunde"))
    assert house.receive().files_accepted == 1


def test_what_many_people_share_is_no_name_of_theirs(house):
    rows = [f"m{n},2025-02-03,F,35,165.0,65.0,{NAMES[n % 6]}" for n in range(12)]
    house.put("a.csv", csv(*rows, header=f"{HEADER},Kunde"))
    assert house.receive().files_accepted == 1


def test_a_column_that_the_profile_uses_is_not_judged_as_names(house):
    house.profile(PROFILE + 'device = { header = "Kunde" }\n')
    house.put("a.csv", csv(*_rows_with(NAMES), header=f"{HEADER},Kunde"))
    assert house.receive().files_accepted == 1


def test_three_in_five_different_values_are_enough_and_fewer_are_not():
    people = [str(n) for n in range(5)]
    assert are_full_names([*NAMES[:3], "x1", "x2"], people)
    assert not are_full_names([*NAMES[:2], "x1", "x2", "x3"], people)


@pytest.mark.parametrize(
    "name", ["O'Neill Mary", "Jean-Luc Picard", "Анна Иванова", "Łukasz Żak", "Smith, John"]
)
def test_the_forms_of_a_full_name(name):
    assert is_name_like(name)


@pytest.mark.parametrize(
    "text", ["ANNA SCHMIDT", "Anna", "A Team", "Anna Maria Luise Schmidt", "anna schmidt"]
)
def test_forms_that_names_and_codes_share_are_not_taken_for_names(text):
    assert not is_name_like(text)


def _rows_with(values):
    return [f"m{n},2025-02-03,F,35,165.0,65.0,{value}" for n, value in enumerate(values)]
