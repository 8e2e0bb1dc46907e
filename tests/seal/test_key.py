"""The key: from a file that only its owner reads, or a variable; never shown, replaced or swapped unnoticed."""

from __future__ import annotations

import stat

import pytest
from invented_export import KEY, written

from pipeline.cli import main
from pipeline.seal.sealed_profile import key_mark


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o644])
def test_a_key_that_others_may_read_is_refused(site, mode):
    path, profile = written(site.folder, "csv")
    site.key.chmod(mode)
    assert site.seal(path, profile) == 2
    assert f"mode {mode:03o}" in site.stderr and "chmod 600" in site.stderr
    assert not (site.folder / "export.sealed.csv").exists()


@pytest.mark.parametrize("text", ["", "secret", "zz" * 32, "ab" * 31, "ab" * 33])
def test_what_is_no_key_is_refused_and_not_repeated(site, text):
    path, profile = written(site.folder, "csv")
    site.key.write_text(text)
    assert site.seal(path, profile) == 2
    assert "not a sealing key" in site.stderr and (not text or text not in site.stderr)


def test_the_key_may_stand_in_a_variable_and_not_in_both_places(site, monkeypatch):
    path, profile = written(site.folder, "csv")
    monkeypatch.setenv("EVENBEAM_SEAL_KEY", KEY.hex())
    assert site.seal(path, profile) == 2 and "two keys" in site.stderr
    assert main(["seal", str(path), "--profile", str(profile)]) == 0
    by_variable = (site.folder / "export.sealed.csv").read_bytes()
    (site.folder / "export.sealed.csv").unlink()
    monkeypatch.delenv("EVENBEAM_SEAL_KEY")
    assert site.seal(path, profile) == 0
    assert (site.folder / "export.sealed.csv").read_bytes() == by_variable


def test_without_a_key_nothing_is_sealed(site):
    path, profile = written(site.folder, "csv")
    assert main(["seal", str(path), "--profile", str(profile)]) == 2
    site.key.unlink()
    assert site.seal(path, profile) == 2 and "no such file" in site.stderr
    assert not site.key.exists()


def test_a_key_is_made_once_and_for_this_user_alone(site, capsys):
    path = site.folder / "new" / "seal.key"
    assert main(["seal", "--make-key", str(path)]) == 0
    made = path.read_text().strip()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600 and len(bytes.fromhex(made)) == 32
    said = capsys.readouterr().out
    assert made not in said and key_mark(bytes.fromhex(made)) in said
    assert main(["seal", "--make-key", str(path)]) == 2 and path.read_text().strip() == made


def test_another_key_than_before_is_noticed(site):
    path, profile = written(site.folder, "csv")
    site.seal(path, profile)
    (site.folder / "export.sealed.csv").rename(site.folder / "sent.csv")
    site.key.write_text(KEY[::-1].hex())
    assert site.seal(path, profile) == 1
    assert "another key than before" in site.stderr and key_mark(KEY) in site.stderr
    assert not (site.folder / "export.sealed.csv").exists()
    (site.folder / "site.sealed.toml").unlink()  # a planned change
    assert site.seal(path, profile) == 0
    old, new = site.rows(site.folder / "sent.csv"), site.rows(site.folder / "export.sealed.csv")
    assert all(
        one[0] != other[0] and one[1:] == other[1:] for one, other in zip(old[1:], new[1:], strict=True)
    )


def test_a_link_is_no_key_file(site):
    path, profile = written(site.folder, "csv")
    link = site.folder / "link.key"
    link.symlink_to(site.key)
    assert main(["seal", str(path), "--profile", str(profile), "--key-file", str(link)]) == 2
