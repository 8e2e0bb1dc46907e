"""The report as a PDF: Typst over templates/report.typ, with the report's words and pictures handed in as data.

The same release gives the same bytes: fonts are the compiler's own, the date is the release's, and nothing is fetched.
The file is tagged and held to PDF/UA-1 by the compiler, which refuses a picture without words or a broken outline.
"""

from __future__ import annotations

import json
import tempfile
from datetime import UTC, datetime
from importlib import resources
from itertools import groupby
from pathlib import Path
from typing import Any

import typst

from dashboards.figures import Figure, table_rows
from dashboards.page import Page
from dashboards.release import Release
from dashboards.report.still import still_charts
from dashboards.stamp import stamp
from dashboards.wording import TEXT, say

TEMPLATE = "report.typ"
MISSING_LETTER = "could not be displayed with font"  # the compiler's words under PDF/UA
ATTEMPTS = ((True, ["ua-1"]), (False, ["ua-1"]), (False, []))  # own fonts alone?, standards
HALF, PANEL = 300, 190  # points of a chart over half the page, and of one of three panels; set at 0.8 of that
MOST_COLUMNS = 4
MOST_ROWS = 8  # of a table beside its chart; of a longer one the page and the file tell


class DocumentNotMade(Exception):
    """The PDF could not be made as it must be: what the compiler said."""


def write_document(release: Release, page: Page) -> Path:
    """Write the report `page` as a PDF beside it; returns its path.

    A name in letters that the compiler's own fonts lack is set in the machine's fonts, if they have them; the bytes
    then depend on the machine. Where those lack them too, the file is made all the same, without the claim of PDF/UA.

    Errors   DocumentNotMade for anything else that the compiler refuses or complains of.
    """
    path = release.folder / page.more["document"]
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        content = _content(release, page, root)
        (root / "content.json").write_text(json.dumps(content, sort_keys=True), encoding="utf-8")
        template = (resources.files("dashboards") / "templates" / TEMPLATE).read_text(encoding="utf-8")
        (root / TEMPLATE).write_text(template, encoding="utf-8")
        as_of = datetime.fromisoformat(release.facts["as_of"]).replace(tzinfo=UTC)
        path.write_bytes(_compiled(root, int(as_of.timestamp())))
    return path


def _compiled(root: Path, timestamp: int) -> bytes:
    for is_own_fonts, standards in ATTEMPTS:
        try:
            pdf, warnings = typst.compile_with_warnings(
                root / TEMPLATE,
                root=root,
                ignore_system_fonts=is_own_fonts,
                pdf_standards=standards,
                timestamp=timestamp,
            )
        except typst.TypstError as error:
            if MISSING_LETTER not in str(error):
                raise DocumentNotMade(f"{TEMPLATE}: {error}") from error
            continue
        if warnings:
            raise DocumentNotMade(f"{TEMPLATE}: {'; '.join(str(warning) for warning in warnings)}")
        return pdf
    raise DocumentNotMade(f"{TEMPLATE}: {MISSING_LETTER}, in every way that was tried")


def _content(release: Release, page: Page, folder: Path) -> dict[str, Any]:
    """All that the template needs; pictures are written into `folder` and named."""
    figures = {figure.id: figure for figure in page.figures}
    return {
        "title": page.title,
        "language": release.catalogue.language,
        "programme": release.facts["programme"],
        "lead": page.lead,
        "stamp": stamp(release),
        "text": {key: TEXT[key] for key in ("report.brief", "report.methods", "report.cautions", "report.table",
                                            "report.pages", "footer.caution", "withheld.why", "unreliable.why")},
        "brief": page.more["brief"],
        "sections": [
            {
                "title": section.title,
                "sentences": section.sentences,
                "paired": section.is_paired,
                "figures": [
                    _figure(figures[name], page, folder, has_table=not section.is_paired)
                    for name in section.figures
                ],
            }
            for section in page.more["sections"]
        ],
        "how": page.more["how"],
        "cautions": page.more["cautions"],
        "marks": _marks([row for figure in page.figures for row in table_rows(figure, page.cubes[figure.cube], {})]),
    }  # fmt: skip


def _figure(figure: Figure, page: Page, folder: Path, *, has_table: bool) -> dict[str, Any]:
    """A figure beside its table, where that is short enough to be read there, or beside its notes."""
    cube = page.cubes[figure.cube]
    rows = table_rows(figure, cube, {})
    is_short = len(rows) <= MOST_ROWS * len(figure.along) and len(figure.columns) <= MOST_COLUMNS
    width = PANEL if figure.panels else HALF
    charts = still_charts(figure, cube, width) if figure.spec else []
    pictures = []
    for number, (title, svg) in enumerate(charts):
        name = f"{figure.id}-{number}.svg"
        (folder / name).write_text(svg, encoding="utf-8")
        pictures.append({"title": title, "file": name})
    headline = figure.headline({})
    return {
        "question": figure.question,
        "headline": headline,
        "alt": TEXT["chart.alt"].format(headline=headline),
        "pictures": pictures,
        "table": _table(figure, rows) if has_table and is_short else None,
        "notes": figure.notes,
        "source": say("source", file=figure.source),
    }


def _table(figure: Figure, rows: list[dict[str, Any]]) -> dict[str, Any]:
    heads = [TEXT[f"column.{name}"] for name in figure.along]
    return {
        "heads": [*heads, *(column.label for column in figure.columns)],
        "words": len(heads),
        # a name stands once over the rows it heads
        "groups": [
            {"head": head, "rows": [[*row["heads"][1:], *row["cells"]] for row in group]}
            for head, group in groupby(rows, key=lambda row: row["heads"][0])
        ],
    }


def _marks(rows: list[dict[str, Any]]) -> list[str]:
    """What the words mean that stand for a figure somewhere in the report."""
    cells = [cell for row in rows for cell in row["cells"]]
    return [
        TEXT[f"{mark}.why"] for mark in ("withheld", "unreliable") if any(TEXT[mark] in cell for cell in cells)
    ]
