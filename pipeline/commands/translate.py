"""`evenbeam translate`: the words of the pages, to be translated."""

from __future__ import annotations

import argparse

from pipeline.commands.option_types import add_programme, language
from pipeline.commands.telling import typed_command

SENTENCE = "Write the words of pages, report and workbook to be translated, or renew what is there."
EXAMPLE = "evenbeam translate programme.toml cy"


def add_options(parser: argparse.ArgumentParser) -> None:
    add_programme(parser)
    parser.add_argument("language", type=language, metavar="LANGUAGE", help="such as cy, de or pt-BR")


def does(options: argparse.Namespace) -> int:
    from pipeline.language import write_translations

    path, missing, texts = write_translations(options.programme, options.language)
    print(f"wrote {path}: {texts - missing} of {texts} texts translated")
    if missing:
        print("next: fill it in with an editor of PO files or of plain text; what is empty stands in English")
    print(f'set language = "{options.language}" in the settings, then run  {typed_command("run", options.programme)}')
    return 0
