"""The documents say what the program does: every setting and every field stands on its page."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from pipeline import measures, programme
from pipeline.cli import build_parser
from pipeline.seal.profile import read_seal_profile
from pipeline.seal.sealed_profile import sealed_profile_text

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "settings.md").read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")
TABLES = [
    programme.ProgrammeSettings,
    programme.Bandings,
    programme.Disclosure,
    programme.Noise,
    programme.Ages,
    programme.Limits,
    programme.Engine,
    programme.Retention,
    programme.Outcomes,
    programme.FollowUp,
    programme.Target,
    programme.Results,
    programme.Site,
    programme.Notify,
    programme.SourceSettings,
    programme.Profile,
    programme.Column,
]
SUBTABLES = {
    "bandings", "disclosure", "ages", "limits", "engine", "notify", "outcomes", "results", "retention", "site",
    "source", "columns", "constants",
}  # fmt: skip
SUBTABLES_OF_OUTCOMES = {"follow_up", "target"}


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.__name__)
def test_every_key_of_the_settings_is_explained(table):
    keys = set(table.model_fields) - SUBTABLES - SUBTABLES_OF_OUTCOMES
    assert {key for key in keys if f"`{key}`" not in PAGE} == set()
    assert {key for key in SUBTABLES & set(table.model_fields) if f"[{key}]" not in PAGE} == set()
    inner = SUBTABLES_OF_OUTCOMES & set(table.model_fields)
    assert {key for key in inner if f"[outcomes.{key}]" not in PAGE} == set()


def test_every_field_is_named():
    assert [name for name in measures.FIELDS if name not in PAGE] == []


COMMANDS = next(
    action.choices
    for action in build_parser()._actions
    if isinstance(action, argparse._SubParsersAction)
)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_stands_in_the_readme_and_has_an_example(name):
    assert f"`evenbeam {name}" in README
    assert f"evenbeam {name}" in COMMANDS[name].epilog


def test_every_option_of_release_and_withdrawal_is_explained():
    page = (ROOT / "docs" / "releases.md").read_text(encoding="utf-8")
    options = {
        option
        for name in ("release", "verify", "withdraw")
        for action in COMMANDS[name]._actions
        for option in action.option_strings
        if option.startswith("--")
    }
    assert {option for option in options - {"--help", "--as-of"} if option not in page} == set()


def test_defaults_on_the_page_are_the_programs():
    assert f"`{programme.Disclosure().minimum_count}`" in PAGE
    assert f"`{programme.Disclosure().minimum_people_for_percentile}`" in PAGE
    assert f'`"{programme.Limits().memory}"`' in PAGE
    windows = [f"{window.months} ± {window.tolerance_days}" for window in programme.Outcomes().follow_up]
    assert ", ".join(windows) in PAGE
    assert f"`{programme.Outcomes().same_visit_hours}`" in PAGE
    for name, limit in programme.Limits():
        assert not isinstance(limit, int) or f"`{name}` | {limit:,} |" in PAGE


def test_the_profile_on_the_page_of_sealing_can_be_sealed_with(tmp_path):
    page = (Path(__file__).parents[2] / "docs" / "sealing.md").read_text(encoding="utf-8")
    path = tmp_path / "site.toml"
    path.write_text(page.partition("```toml\n")[2].partition("```")[0], encoding="utf-8")
    profile = read_seal_profile(path)
    (tmp_path / "sealed.toml").write_text(sealed_profile_text(profile, bytes(32)), encoding="utf-8")
    assert "age" in programme.read_profile(tmp_path / "sealed.toml").columns
