"""A sheet of a workbook whose rows are a table's, written a column at a time and not a cell at a time.

XlsxWriter keeps a Python object a cell and writes one after the other: half of the time that pages of hundreds of sites
took. Here Polars writes the same cells (ECMA-376 part 1, 18.3.1.4: `c` with its reference, style and type) and
everything else is XlsxWriter's: it knows the texts, writes head, widths, filter and frozen pane, and packs the parts.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl
from xlsxwriter.format import Format
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

_ROWS_AT_ONCE = 8192
_LONGEST = 32_767  # units of UTF-16: a spreadsheet's cell holds no more
_TAKEN_FOR_MARKUP = ("<r>", "</r>")  # XlsxWriter writes a text between these unescaped, as runs of rich text


class TableSheet(Worksheet):
    """A worksheet that can hold one table below its head; for `Workbook.add_worksheet(name, TableSheet)`."""

    _rows: pl.DataFrame | None = None
    _styles: Sequence[Format | None] = ()

    def hold(self, rows: pl.DataFrame, styles: Sequence[Format | None]) -> None:
        """Put the rows below the first line. Text is text, whatever it looks like; what is missing stays blank.

        Shapes   styles: one for each column of numbers, which must be finite; None for a column of text.
        """
        if rows.height:
            self._check_dimensions(rows.height, rows.width - 1)
        self._rows = rows.with_columns(self._shared(column) for column in rows if column.dtype == pl.String)
        self._styles = styles

    def _shared(self, column: pl.Series) -> pl.Series:
        """Each text's place among the texts that all sheets share."""
        words = column.drop_nulls().unique(maintain_order=True).to_list()
        places = [self.str_table._get_shared_string_index(storable(word)) for word in words]
        self.str_table.count += len(column) - column.null_count() - len(words)
        return pl.Series(column.name, places, pl.Int64).gather(column.cast(pl.Enum(words)).to_physical())

    def _write_sheet_data(self) -> None:
        """As the class above, which calls this for what stands between the widths and the filter."""
        if self._rows is None or not self._rows.height:
            super()._write_sheet_data()
            return
        self._xml_start_tag("sheetData")
        last, self.dim_rowmax = self.dim_rowmax, 0
        self._write_rows()
        self.dim_rowmax = last
        for start in range(0, self._rows.height, _ROWS_AT_ONCE):
            self.fh.write(self._lines(start))
        self._xml_end_tag("sheetData")

    def _lines(self, start: int) -> str:
        lines = self._rows.slice(start, _ROWS_AT_ONCE).with_row_index("line of the sheet", start + 2)
        line = pl.col("line of the sheet").cast(pl.String)
        cells = []
        for place, (name, style) in enumerate(zip(self._rows.columns, self._styles, strict=True)):
            told = 't="s"' if style is None else f's="{style._get_xf_index()}"'
            opening = pl.lit(f'<c r="{xl_col_to_name(place)}')
            cell = pl.concat_str(
                opening, line, pl.lit(f'" {told}><v>'), pl.col(name).cast(pl.String), pl.lit("</v></c>")
            )
            cells.append(cell.fill_null(""))
        row = pl.concat_str(pl.lit('<row r="'), line, pl.lit('">'), *cells, pl.lit("</row>"))
        return lines.select(row.str.join("")).item()


def storable(text: str) -> str:
    """A text as a cell can hold it: not too long, and never taken for markup."""
    if len(text) > _LONGEST // 2 and len(text.encode("utf-16-le")) // 2 > _LONGEST:
        text = text[: _LONGEST // 2]
    opening, closing = _TAKEN_FOR_MARKUP
    return f"{text} " if text.startswith(opening) and text.endswith(closing) else text
