"""A programme's pages in its own language, from the command line. Mechanics."""

from __future__ import annotations

import re

import pytest

from pipeline.cli import main


@pytest.fixture
def programme(tmp_path):
    """A programme of one site and one row, run once in English."""
    folder = tmp_path / "p"
    main(["init", str(folder)])
    (folder / "inbox" / "first-site" / "a.csv").write_text(
        "participant,measured_on,sex,age,height,weight\n7,2025-03-31,F,40,165,65.0\n"
    )
    main(["run", str(folder), "--as-of", "2025-04-15"])
    return folder


def speak(folder, language):
    settings = (folder / "programme.toml").read_text()
    (folder / "programme.toml").write_text(f'language = "{language}"\n{settings}')


def test_a_text_that_is_translated_stands_on_the_pages_and_the_rest_is_told_once(programme, capsys):
    assert main(["translate", str(programme), "cy"]) == 0
    file = programme / "languages" / "cy.po"
    texts = int(re.search(r"0 of (\d+) texts translated", capsys.readouterr().out)[1])
    text = file.read_text(encoding="utf-8")
    assert 'msgid "At a glance"\nmsgstr ""' in text
    file.write_text(text.replace('msgid "At a glance"\nmsgstr ""', 'msgid "At a glance"\nmsgstr "Cipolwg"'))
    speak(programme, "cy")
    assert main(["run", str(programme), "--as-of", "2025-04-15"]) == 0
    told = capsys.readouterr().out
    assert told.count("are not translated") == 1
    assert f"note  language cy: {texts - 1} of {texts} texts are not translated and stand in English" in told
    page = (programme / "published" / "latest" / "index.html").read_text(encoding="utf-8")
    assert '<html lang="cy">' in page and ">Cipolwg</a>" in page and ">Methods and cautions</a>" in page
    assert main(["translate", str(programme), "cy"]) == 0
    assert 'msgstr "Cipolwg"' in file.read_text(encoding="utf-8")


def test_a_language_without_its_file_is_refused_before_anything_is_read(programme, capsys):
    speak(programme, "cy")
    (programme / "inbox" / "first-site" / "b.csv").write_text("participant\n")
    assert main(["run", str(programme), "--as-of", "2025-04-15"]) == 2
    told = capsys.readouterr()
    assert "no translations for language cy" in told.err and "evenbeam translate" in told.err
    assert "Reading files" not in told.err.partition("no translations")[2]


def test_a_translation_that_cannot_be_filled_in_is_named(programme, capsys):
    main(["translate", str(programme), "cy"])
    file = programme / "languages" / "cy.po"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace('msgid "Sites"\nmsgstr ""', 'msgid "Sites"\nmsgstr "{safle}"'), encoding="utf-8")
    speak(programme, "cy")
    assert main(["run", str(programme), "--as-of", "2025-04-15"]) == 2
    assert "nav.sites: {safle}" in capsys.readouterr().err


@pytest.mark.parametrize("language", ["../x", "xx-nowhere", ""])
def test_what_is_no_language_is_refused(programme, language):
    with pytest.raises(SystemExit):
        main(["translate", str(programme), language])


def test_before_the_first_run_there_are_no_words_to_list(tmp_path, capsys):
    main(["init", str(tmp_path / "p")])
    assert main(["translate", str(tmp_path / "p"), "cy"]) == 1
    assert "no pages yet" in capsys.readouterr().err
