"""The profile of sealing is intake's, with a table of its own; the sealed one is intake's to the letter."""

from __future__ import annotations

import pytest
from invented_export import profile_text, written

from pipeline.faults import SettingsFault
from pipeline.programme import Column, Profile, read_profile
from pipeline.seal import profile as seal_profile
from pipeline.seal.profile import read_seal_profile


def test_every_key_of_a_site_profile_is_known_here_too():
    assert set(seal_profile._KEYS) == {*Profile.model_fields, "seal"}
    assert set(seal_profile._COLUMN_KEYS) == set(Column.model_fields)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('format = "csv"', 'formt = "csv"'), "did you mean format"),
        (('format = "csv"', 'format = "odt"'), "one of csv, tsv"),
        (('format = "csv"', 'format = "csv"\nheader_row = "2"'), "another kind of value"),
        (("participant =", "particpant ="), "did you mean participant"),
        (('"Member" }', '"Member", unti = "kg" }'), "did you mean unit"),
        (("height = ", "bmi = "), "a header or a constant for height"),
        (("date_of_birth =", "birth ="), "choices are date_of_birth, age"),
        (('"years"', '"weeks"'), "years or months"),
        (("height =", 'age = { header = "Age" }\nheight ='), "keep one"),
        (('header = "DOB"', 'head = "DOB"'), "a table with a header"),
        (("[seal]", "[constants]\ndevice = 2025-02-03\n[seal]"), "a text in quotes"),
    ],
)
def test_a_fault_in_the_profile_is_named(tmp_path, change, said):
    path = tmp_path / "site.toml"
    text = profile_text('format = "csv"')
    assert change[0] in text
    path.write_text(text.replace(*change, 1))
    with pytest.raises(SettingsFault, match=said):
        read_seal_profile(path)


def test_an_age_or_a_date_of_birth_is_needed(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text(profile_text('format = "csv"').partition("[seal]")[0])
    with pytest.raises(SettingsFault, match="or a date_of_birth under"):
        read_seal_profile(path)


def test_the_sealed_profile_keeps_units_codes_and_constants_and_drops_layout(site):
    path, profile = written(site.folder, "csv")
    text = profile.read_text().replace('"Height" }', '"Height", unit = "cm", resolution = 0.5 }')
    text = text.replace('"Member" }', '"Member", scope = "site" }').replace(
        'device = { header = "Machine" }\n', ""
    )
    profile.write_text(text.replace("[seal]", '[constants]\ndevice = "A1"\n[seal]'))
    assert site.seal(path, profile) == 0
    sealed = read_profile(site.folder / "site.sealed.toml")
    assert (sealed.format, sealed.delimiter, sealed.decimal, sealed.encoding) == ("csv", None, ",", None)
    assert sealed.columns["height"].unit == "cm" and sealed.columns["height"].resolution == 0.5
    assert sealed.columns["participant"].scope == "site" and sealed.columns["measured_on"].format is None
    assert sealed.columns["sex"].codes == {"M": "male", "F": "female"} and sealed.constants == {
        "device": "A1"
    }


def test_another_profile_than_before_is_noticed(site):
    path, profile = written(site.folder, "csv")
    site.seal(path, profile)
    (site.folder / "export.sealed.csv").unlink()
    assert site.seal(path, profile) == 0 and "wrote   " not in site.stdout
    (site.folder / "export.sealed.csv").unlink()
    profile.write_text(profile.read_text().replace('"Weight" }', '"Weight", unit = "lb" }'))
    assert site.seal(path, profile) == 1 and "another profile than before" in site.stderr
    assert not (site.folder / "export.sealed.csv").exists()
