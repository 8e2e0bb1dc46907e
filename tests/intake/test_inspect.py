"""`inspect` proposes a profile that can be used, and leaves open what the file does not say."""

import pytest
from invented_site import csv, profile_of
from test_typed_formats import ndjson, parquet, sheet

from pipeline.faults import FileHeld, SettingsFault
from pipeline.intake.inspect import inspect_file

CLEAN = csv(
    *[f"m{n},2025-02-{n + 10},{'FM'[n % 2]},{30 + n},{160.5 + n},{60.5 + n},{22.5 + n}" for n in range(8)],
    header="Member,Date,Sex,Age,Height,Weight,Body fat %",
)


@pytest.fixture
def inspected(tmp_path):
    def inspect(content, name="a.csv"):
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return inspect_file(path)

    return inspect


def test_a_clear_file_gives_a_profile_without_open_questions(inspected, tmp_path):
    found = inspected(CLEAN)
    profile = profile_of(found.profile_toml, tmp_path)
    assert found.undecided == [] and profile.format == "csv"
    assert {name: column.header for name, column in profile.columns.items()} == {
        "participant": "Member",
        "measured_on": "Date",
        "sex": "Sex",
        "age": "Age",
        "height": "Height",
        "weight": "Weight",
        "body_fat_percent": "Body fat %",
    }
    assert len(found.reasons) >= 9


def test_the_proposal_takes_the_file_in(inspected, house):
    house.profile(inspected(CLEAN).profile_toml)
    house.put("a.csv", CLEAN)
    assert house.receive().rows_accepted == 8


def test_german_headers_comma_semicolon_latin_1_and_a_preamble(inspected, tmp_path):
    rows = "".join(
        f"{n};{13 + n}.02.2025;{'wm'[n % 2]};{30 + n};{160 + n},5;{60 + n},5;{22 + n},5\n" for n in range(8)
    )
    found = inspected(
        (
            "Verein\n\nMitglieds-Nr;Messdatum;Geschlecht;Alter;Größe (cm);Gewicht (kg);Körperfett %\n" + rows
        ).encode("latin-1")
    )
    profile = profile_of(found.profile_toml, tmp_path)
    assert found.undecided == []
    assert (profile.delimiter, profile.decimal, profile.encoding, profile.header_row) == (
        ";",
        ",",
        "cp1252",
        3,
    )
    assert profile.columns["measured_on"].format == "%d.%m.%Y"
    assert profile.columns["sex"].codes == {"m": "male", "w": "female"}
    assert profile.columns["height"].header == "Größe (cm)"


def test_units_from_the_header_and_from_medians(inspected, tmp_path):
    rows = [f"m{n},2025-02-{n + 10},F,{30 + n},{64 + n / 2},{140.5 + n},{1400 + n}" for n in range(8)]
    found = inspected(csv(*rows, header="ID,Date,Sex,Age,Height,Weight,BMR"))
    profile = profile_of(found.profile_toml, tmp_path)
    assert (profile.columns["height"].unit, profile.columns["weight"].unit) == ("[in_i]", "[lb_av]")
    assert any("its median 65.75 is that of people only in [in_i]" in reason for reason in found.reasons)
    named = inspected(csv(*rows, header="ID,Date,Sex,Age,Height (in),Weight_lb,BMR"))
    assert profile_of(named.profile_toml, tmp_path).columns["weight"].unit == "[lb_av]"
    assert any("the unit [lb_av] stands in it" in reason for reason in named.reasons)


@pytest.mark.parametrize(
    ("days", "form"),
    [
        (("03/02/2025", "13/02/2025"), "%d/%m/%Y"),
        (("02/03/2025", "02/13/2025"), "%m/%d/%Y"),
        (("03/02/25", "13/02/25"), "%d/%m/%y"),
        (("13.02.2025 14:30", "03.02.2025 9:05"), "%d.%m.%Y %H:%M"),
        (("03/02/2025", "02/03/2025"), None),
        (("13/02/2025", "02/13/2025"), None),
    ],
)
def test_day_or_month_first_only_where_a_number_over_12_says_so(inspected, tmp_path, days, form):
    rows = [f"m{n},{days[n % 2]},F,{30 + n},165.5,65.5" for n in range(8)]
    found = inspected(csv(*rows, header="Member,Date,Sex,Age,Height,Weight"))
    if form:
        assert profile_of(found.profile_toml, tmp_path).columns["measured_on"].format == form
    else:
        assert len(found.undecided) == 1 and "# UNDECIDED" in found.profile_toml
        with pytest.raises(SettingsFault, match="a format names day, month and year"):
            profile_of(found.profile_toml, tmp_path)


@pytest.mark.parametrize(
    ("words", "codes"),
    [
        ("FM", None),
        ("fm", None),
        (("female", "male"), None),
        ("WM", {"w": "female", "m": "male"}),
        ("FH", {"f": "female", "h": "male"}),
        (("Mujer", "Hombre"), {"mujer": "female", "hombre": "male"}),
    ],
)
def test_words_that_say_which_sex_they_mean(inspected, tmp_path, words, codes):
    found = inspected(
        csv(
            *[f"m{n},2025-02-13,{words[n % 2]},{30 + n},165.5,65.5" for n in range(8)],
            header="Member,Date,Sex,Age,Height,Weight",
        )
    )
    assert profile_of(found.profile_toml, tmp_path).columns["sex"].codes == codes


@pytest.mark.parametrize("words", ["12", "01", "HM", "AB"])
def test_which_of_two_codes_is_female_is_never_guessed(inspected, tmp_path, words):
    found = inspected(
        csv(
            *[f"m{n},2025-02-13,{words[n % 2]},{30 + n},165.5,65.5" for n in range(8)],
            header="Member,Date,Sex,Age,Height,Weight",
        )
    )
    assert any("do not say which is female" in one for one in found.undecided)
    with pytest.raises(SettingsFault, match="female or male"):
        profile_of(found.profile_toml, tmp_path)


def test_a_bare_fat_is_settled_by_weight_and_fat_free_mass_or_left_open(inspected, tmp_path):
    rows = [f"m{n},2025-02-13,F,{30 + n},165.5,65.0,19.5,45.5" for n in range(8)]
    settled = inspected(csv(*rows, header="Member,Date,Sex,Age,Height,Weight,Fat,FFM"))
    assert profile_of(settled.profile_toml, tmp_path).columns["fat_mass"].header == "Fat"
    as_share = inspected(
        csv(
            *[row.replace(",19.5,", ",30.0,") for row in rows],
            header="Member,Date,Sex,Age,Height,Weight,Fat,FFM",
        )
    )
    assert "body_fat_percent" in profile_of(as_share.profile_toml, tmp_path).columns
    open_one = inspected(
        csv(*[row.rsplit(",", 1)[0] for row in rows], header="Member,Date,Sex,Age,Height,Weight,Fat")
    )
    assert any("a share (%) or a mass" in one for one in open_one.undecided)


@pytest.mark.parametrize(
    ("first", "last", "unit"),
    [(59, 119, None), (60, 111, "mo"), (8, 60, None), (61, 216, "mo"), (60, 110, "?")],
)
def test_ages_in_months_only_where_they_cannot_be_years(inspected, first, last, unit):
    rows = [f"m{n},2025-02-13,F,{age},135.5,35.5" for n, age in enumerate([first, last] * 4)]
    found = inspected(csv(*rows, header="Member,Date,Sex,Age,Height,Weight"))
    line = next(line for line in found.profile_toml.splitlines() if line.startswith("age"))
    assert (f'unit = "{unit}"' in line) == (unit is not None)


def test_a_header_that_is_nothing_but_a_unit_and_fat_by_its_unit(inspected, tmp_path):
    rows = [f"m{n},2025-02-13,F,{30 + n},165.5,65.0,19.5,30.0" for n in range(8)]
    found = inspected(csv(*rows, header="Member,Date,Sex,Age,cm,kg,Fat kg,Fat %"))
    columns = profile_of(found.profile_toml, tmp_path).columns
    assert [columns[name].header for name in ("height", "weight", "fat_mass", "body_fat_percent")] == [
        "cm",
        "kg",
        "Fat kg",
        "Fat %",
    ]


def test_a_required_field_that_no_header_names_is_left_open(inspected, tmp_path):
    found = inspected(csv("2025-02-13,F,35,165.5,65.5", header="Date,Sex,Age,Height,Weight"))
    assert "participant: no header names it" in found.undecided
    with pytest.raises(SettingsFault, match="participant"):
        profile_of(found.profile_toml, tmp_path)


def test_direct_identifiers_are_named_and_not_put_into_the_profile(inspected):
    found = inspected(CLEAN.replace("Member,", "Surname,Member,").replace("\nm", "\nBeeblebrox,m"))
    assert found.direct_identifiers == ["column Surname: name of a person (by its header)"]
    assert "Surname" not in found.profile_toml.split("[columns]")[1]
    assert "Beeblebrox" not in found.profile_toml + repr(found.reasons) + repr(found.undecided)


def test_unusual_missing_marks_are_found(inspected, tmp_path):
    found = inspected(CLEAN.replace(",62.5,", ",k.A.,").replace(",64.5,", ",k.A.,"))
    assert "k.A." in profile_of(found.profile_toml, tmp_path).missing


def test_every_format_is_known_by_its_content(inspected, tmp_path):
    headers = ["Member", "Date", "Sex", "Age", "Height", "Weight"]
    rows = [[f"m{n}", "2025-02-13", "FM"[n % 2], 30 + n, 165.5, 65.5] for n in range(6)]
    files = {
        "xlsx": sheet(["A club"], [], headers, *rows),
        "ndjson": ndjson(*[dict(zip(headers, row, strict=True)) for row in rows]),
        "parquet": parquet(**{header: [row[n] for row in rows] for n, header in enumerate(headers)}),
        "tsv": "\n".join("\t".join(map(str, row)) for row in [headers, *rows]),
    }
    for kind, content in files.items():
        found = inspected(content, "unknown.dat")
        assert (profile_of(found.profile_toml, tmp_path).format, found.undecided) == (kind, [])
    assert profile_of(inspected(files["xlsx"]).profile_toml, tmp_path).header_row == 3


@pytest.mark.parametrize("content", ["", "\n\n", "just words\nand more\n"])
def test_what_is_no_table_says_so(inspected, content):
    with pytest.raises(FileHeld):
        inspected(content)


@pytest.mark.parametrize(
    ("number", "scope", "reason"),
    [
        ("{n}", "site", "plain running numbers usually repeat at other sites"),
        ("99999{n}", "site", 'use "programme" where a number means the same person everywhere'),
        ("999999{n}", "programme", "no plain running numbers"),
        ("HD{n}", "programme", 'use "site" where another site may give it to somebody else'),
    ],
)
def test_whose_numbers_they_are_is_written_out_with_its_reason(inspected, tmp_path, number, scope, reason):
    rows = [f"{number.format(n=n)},2025-02-13,F,{30 + n},165.5,65.5" for n in range(8)]
    found = inspected(csv(*rows, header="Member,Date,Sex,Age,Height,Weight"))
    line = next(line for line in found.profile_toml.splitlines() if line.startswith("participant"))
    assert profile_of(found.profile_toml, tmp_path).columns["participant"].scope == scope
    assert reason in line.partition("#")[2] and any(reason in one for one in found.reasons)
    assert found.undecided == []


def test_one_number_among_them_that_is_none_makes_them_the_programmes(inspected, tmp_path):
    rows = [f"{'A7' if n == 3 else n},2025-02-13,F,{30 + n},165.5,65.5" for n in range(8)]
    found = inspected(csv(*rows, header="Member,Date,Sex,Age,Height,Weight"))
    assert profile_of(found.profile_toml, tmp_path).columns["participant"].scope == "programme"


def test_one_value_is_spoken_of_in_the_singular(inspected):
    rows = [f"m{n},2025-02-13,F,{30 + n},165{'.5' if n == 1 else ''},65" for n in range(8)]
    reasons = inspected(csv(*rows, header="Member,Date,Sex,Age,Height,Weight")).reasons
    assert any("it stands in 1 value, a comma in none" in one for one in reasons)
    rows[1] = rows[1].replace("165.5", '"1,650.5"')
    reasons = inspected(csv(*rows, header="Member,Date,Sex,Age,Height,Weight")).reasons
    assert any("1 value is written like 1,234.5" in one for one in reasons)


def test_what_would_repaint_the_screen_stands_as_its_code(inspected, tmp_path):
    content = CLEAN.replace("Body fat %", "Note \x1b[2J \u202e end")
    found = inspected(content, "a\n\u202eb.csv")
    everything = found.profile_toml + "".join(found.reasons + found.undecided)
    assert "\x1b" not in everything and "\u202e" not in everything
    assert "proposed from a\\u000a\\u202eb.csv" in found.profile_toml
    assert profile_of(found.profile_toml, tmp_path).format == "csv"


@pytest.mark.parametrize(
    ("at", "form"),
    [
        ("2025-02-{day}T23:45:00-05:00", None),  # intake reads ISO 8601 with a zone and parts of a second by itself
        ("2025-02-{day}T10:00:00.123Z", None),
        ("{day}/02/2025 23:45 +0200", "%d/%m/%Y %H:%M %z"),
        ("2025-02-{day} 08:00 Z", "%Y-%m-%d %H:%M %z"),
        ("2025-02-{day}T08:00:30 +02:00", "%Y-%m-%dT%H:%M:%S %z"),
        ("{day}.02.2025 23:45:10.5", "%d.%m.%Y %H:%M:%S.%f"),
    ],
)
def test_a_zone_and_parts_of_a_second_are_seen_and_the_proposal_reads_them(inspected, house, at, form):
    content = csv(*[f"m{n},{at.format(day=n + 13)},{'FM'[n % 2]},{30 + n},165.5,65.5" for n in range(6)])
    found = inspected(content)
    house.profile(found.profile_toml)
    house.put("a.csv", content)
    assert (found.undecided, profile_of(found.profile_toml, house.folder).columns["measured_on"].format) == ([], form)
    assert house.receive().rows_accepted == 6


def test_a_header_that_stands_twice_is_told_before_the_file_is_held_for_it(inspected):
    found = inspected(csv("m1,2025-02-03,F,35,165.0,65.0,143.3", header="Member,Date,Sex,Age,Height,Weight,Weight"))
    assert "HELD as it stands: the file has more than one column Weight" in found.profile_toml
    assert any(reason.startswith("Weight: this header stands more than once") for reason in found.reasons)
