"""An empty file of sale records to fill in: a text table, or a workbook with a list to pick from in each
closed column."""

from io import BytesIO
from pathlib import Path
from typing import Final

import xlsxwriter

from pricing.errors import FileError
from pricing.records.layout import record_layout

ROWS: Final = 1_000
"""Rows of the workbook that have their lists."""

_LONGEST_LIST: Final = 255
"""Characters of a list that a workbook takes in a cell's own rule; a longer one stands on a sheet
(ECMA-376)."""


def write_template(path: Path) -> None:
    """Write an empty table, csv or xlsx by the ending of its name, never over another file.

    Raises:
        FileError: there is such a file already, it cannot be written, or its ending is another.
    """
    ending = path.suffix.lower()
    if ending not in (".csv", ".xlsx"):
        raise FileError(f"{path}: a template is a csv or an xlsx file")
    header = (",".join(column.name for column in record_layout()) + "\n").encode()
    made = header if ending == ".csv" else _book()
    try:
        with path.open("xb") as written:
            written.write(made)
    except FileExistsError:
        raise FileError(f"{path} is there already; give another name") from None
    except OSError as error:
        raise FileError(f"{path} cannot be written: {error.strerror}") from None


def _book() -> bytes:
    buffer = BytesIO()
    with xlsxwriter.Workbook(buffer, {"in_memory": True}) as book:
        sheet, lists = book.add_worksheet("records"), book.add_worksheet("columns")
        lists.hide()
        bold = book.add_format({"bold": True})
        sheet.freeze_panes(1, 0)
        for place, column in enumerate(record_layout()):
            sheet.write_string(0, place, column.name, bold)
            sheet.write_comment(0, place, f"{column.meaning}. Example: {column.example or '-'}")
            sheet.set_column(place, place, max(12, len(column.name) + 2))
            lists.write_column(0, place, column.words)
            if column.words and column.name != "options":
                listed = ",".join(column.words)
                name = xlsxwriter.utility.xl_col_to_name(place)
                short = len(listed) <= _LONGEST_LIST
                source = list(column.words) if short else f"=columns!${name}$1:${name}$99"
                sheet.data_validation(1, place, ROWS, place, {"validate": "list", "source": source})
    return buffer.getvalue()
