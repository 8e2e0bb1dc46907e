"""The documents say what the program does: every setting and every field stands on its page."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import measures, programme
from pipeline.seal.profile import read_seal_profile
from pipeline.seal.sealed_profile import sealed_profile_text

PAGE = (Path(__file__).parents[2] / "docs" / "settings.md").read_text(encoding="utf-8")
TABLES = [
    programme.ProgrammeSettings,
    programme.Bandings,
    programme.Disclosure,
    programme.Noise,
    programme.Ages,
    programme.Limits,
    programme.Site,
    programme.Profile,
    programme.Column,
]
SUBTABLES = {"bandings", "disclosure", "ages", "limits", "site", "columns", "constants"}


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.__name__)
def test_every_key_of_the_settings_is_explained(table):
    keys = set(table.model_fields) - SUBTABLES
    assert {key for key in keys if f"`{key}`" not in PAGE} == set()
    assert {key for key in SUBTABLES & set(table.model_fields) if f"[{key}]" not in PAGE} == set()


def test_every_field_is_named():
    assert [name for name in measures.FIELDS if name not in PAGE] == []


def test_defaults_on_the_page_are_the_programs():
    assert f"`{programme.Disclosure().minimum_count}`" in PAGE
    assert f"`{programme.Disclosure().minimum_people_for_percentile}`" in PAGE
    assert f'`"{programme.Limits().memory}"`' in PAGE
    assert f"{programme.Limits().file_bytes:,}" in PAGE


def test_the_profile_on_the_page_of_sealing_can_be_sealed_with(tmp_path):
    page = (Path(__file__).parents[2] / "docs" / "sealing.md").read_text(encoding="utf-8")
    path = tmp_path / "site.toml"
    path.write_text(page.partition("```toml\n")[2].partition("```")[0], encoding="utf-8")
    profile = read_seal_profile(path)
    (tmp_path / "sealed.toml").write_text(sealed_profile_text(profile, bytes(32)), encoding="utf-8")
    assert "age" in programme.read_profile(tmp_path / "sealed.toml").columns
