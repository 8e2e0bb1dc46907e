"""A sealed file holds the profile's fields and nothing of who somebody is, and intake takes it."""

from __future__ import annotations

import pytest
from invented_export import KEY, SEALED, SECRETS, profile_text, written
from invented_site import SITE, House

from pipeline.seal.pseudonym import pseudonym_of

FORMATS = ["csv", "tsv", "ndjson", "xlsx", "parquet"]
HEADER = ["participant", "measured_on", "sex", "age", "height", "weight", "device"]


@pytest.mark.parametrize("kind", FORMATS)
def test_every_format_becomes_the_same_rows(site, kind):
    path, profile = written(site.folder, kind)
    assert site.seal(path, profile) == 0
    header, *rows = site.rows(site.folder / "export.sealed.csv")
    assert header == HEADER
    decimal = "," if kind == "csv" else "."
    assert [[cell.replace(decimal, ".") for cell in row[1:]] for row in rows] == SEALED
    assert [row[0] for row in rows] == [
        pseudonym_of(KEY, "seal", number) for number in ("4711", "4712", "4711")
    ]


@pytest.mark.parametrize("kind", FORMATS)
def test_no_value_of_a_person_is_written_or_said(site, kind):
    path, profile = written(site.folder, kind)
    site.seal(path, profile)
    sealed = "".join((site.folder / name).read_text() for name in ("export.sealed.csv", "site.sealed.toml"))
    said = site.stdout + site.stderr
    assert [secret for secret in SECRETS if secret in sealed + said] == []
    assert KEY.hex() not in sealed + said
    assert (
        "pseudonyms made: 2" in said and "ages made of dates of birth: 3 (whole years); not made: 0" in said
    )
    assert "rows: 3 read = 3 sealed + 0 left out" in said
    assert "columns kept: 7; dropped: 4: Surname (name of a person), E-mail (e-mail address)" in said


@pytest.mark.parametrize("kind", FORMATS)
def test_intake_accepts_the_sealed_file_with_the_sealed_profile(site, kind):
    path, profile = written(site.folder / "at-the-site", kind)
    house = House(site.folder)
    assert site.seal(path, profile, "--into", str(site.folder / "inbox" / SITE)) == 0
    house.profile((profile.parent / "site.sealed.toml").read_text())
    summary = house.receive()
    assert (summary.files_accepted, summary.rows_accepted, summary.rows_held) == (1, 3, 0), summary.messages
    assert house.accepted("sex", "age", "weight_kg") == [
        ("male", 40, 80.5),
        ("female", 12, 65.25),
        ("male", 41, 79.9),
    ]
    first, second, third = house.accepted("participant")
    assert first == third != second and first != pseudonym_of(KEY, "seal", "4711")  # hashed once more
    house.store.close()


@pytest.mark.parametrize("kind", FORMATS)
def test_intake_refuses_the_same_file_unsealed(site, kind):
    path, _ = written(site.folder / "at-the-site", kind)
    house = House(site.folder)
    house.put(path.name, path.read_bytes())
    form = 'delimiter = ";"\ndecimal = ","' if kind == "csv" else ""
    text = profile_text(f'format = "{kind}"\n{form}').partition("[seal]")[0]
    house.profile(text + "[constants]\nage = 40\n")
    assert house.receive().files_refused == 1
    house.store.close()


def test_the_same_person_has_the_same_pseudonym_in_every_file_and_format(site):
    seen = set()
    for kind in FORMATS:
        path, profile = written(site.folder / kind, kind)
        site.seal(path, profile)
        seen.add(site.rows(site.folder / kind / "export.sealed.csv")[1][0])
    assert len(seen) == 1


def test_blanks_around_a_number_make_no_other_person(site):
    path, profile = written(site.folder, "ndjson")
    path.write_text(path.read_text().replace('"4711"', '" 4711 "', 1))
    site.seal(path, profile)
    rows = site.rows(site.folder / "export.sealed.csv")
    assert rows[1][0] == rows[3][0]


def test_what_is_no_number_date_or_code_is_emptied_and_counted(site):
    path, profile = written(site.folder, "ndjson")
    text = path.read_text()
    for value, remark in (
        ("80.5", '"see Mrs Dent"'),
        ('"F"', '"ask 020 7946 0018"'),
        ('"2025-03-01"', '"1 March"'),
    ):
        text = text.replace(value, remark)
    path.write_text(text)
    assert site.seal(path, profile) == 0
    _, first, second, third = site.rows(site.folder / "export.sealed.csv")
    assert (first[5], second[2], third[1], third[3]) == ("", "", "", "")
    assert "no such value: measured_on 1, sex 1, weight 1" in site.stdout
    assert "ages made of dates of birth: 2 (whole years); not made: 1" in site.stdout


def test_a_line_with_other_fields_than_the_header_is_left_out_and_counted(site):
    path, profile = written(site.folder, "csv")
    path.write_bytes(path.read_bytes() + b"Prefect;4713\r\n\r\n")
    assert site.seal(path, profile) == 0
    assert len(site.rows(site.folder / "export.sealed.csv")) == 4
    assert "rows: 4 read = 3 sealed + 1 left out" in site.stdout and "first in line 5" in site.stdout


def test_an_analysers_column_with_names_of_people_is_not_sealed(site):
    path, profile = written(site.folder, "ndjson")
    lines = [line.replace('"A1"', f'"{name}"') for line, name in zip(
        path.read_text().splitlines()[:1] * 6,
        ["Zaphod Beeblebrox", "Ford Prefect", "Arthur Dent", "Lewis Prosser", "Tricia McMillan", "Agda Smith"],
        strict=True,
    )]  # fmt: skip
    path.write_text("\n".join(lines))
    assert site.seal(path, profile) == 1
    assert "name-like text in the column Machine" in site.stderr and "Zaphod" not in site.stderr
    assert (
        not (site.folder / "export.sealed.csv").exists() and not (site.folder / "site.sealed.toml").exists()
    )


def test_ages_in_months_are_for_children_alone(site):
    path, profile = written(site.folder, "ndjson")
    profile.write_text(profile_text('format = "ndjson"', age="months"))
    site.seal(path, profile)
    assert [row[3] for row in site.rows(site.folder / "export.sealed.csv")[1:]] == ["480", "152", "492"]
    assert 'age = { header = "age", unit = "mo" }' in (site.folder / "site.sealed.toml").read_text()
    assert "months under 20, whole years from then on" in site.stdout


def test_the_day_of_measurement_may_be_a_constant_and_the_age_a_column(site):
    path, profile = written(site.folder, "ndjson")
    text = profile_text('format = "ndjson"').replace('measured_on = { header = "Measured" }\n', "")
    profile.write_text(text + '[constants]\nmeasured_on = "2025-02-28"\n')
    assert site.seal(path, profile) == 0
    assert [row[2] for row in site.rows(site.folder / "export.sealed.csv")[1:]] == ["40", "12", "40"]
    assert 'measured_on = "2025-02-28"' in (site.folder / "site.sealed.toml").read_text()
    with_age = profile_text('format = "ndjson"').partition("[seal]")[0] + 'age = { header = "Height" }\n'
    (site.folder / "other.toml").write_text(with_age)
    assert site.seal(path, site.folder / "other.toml", "--into", str(_made(site.folder / "elsewhere"))) == 0
    assert site.rows(site.folder / "elsewhere" / "export.sealed.csv")[1][3] == "180"
    assert "ages made" not in site.stdout


def _made(folder):
    folder.mkdir()
    return folder
