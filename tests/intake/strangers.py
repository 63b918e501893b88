"""Sheets that a stranger to the rules of intake wrote, as different people keep them, each with what a
person reads from it: the files of ``strangers/``.

A file holds how it is kept (``file``), what its keeper answers (``set``) and what each of its columns is in
order (``cols``: ``-`` nothing, ``~`` not looked at); then, parted by ``----``, the sheet as it stands and the
records that a person reads from it, one a line, written before the program saw it (``*``: more than one
reading is right). Invented marques only.
"""

import json
import zipfile
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

import typst
import xlsxwriter

HERE: Final = Path(__file__).with_name("strangers")
CODINGS: Final = {"latin-1": "iso-8859-1", "mac-roman": "mac_roman"}


@dataclass(frozen=True)
class Sheet:
    """One sheet and what a person reads from it."""

    name: str
    kind: str
    encoding: str
    delimiter: str
    answers: dict[str, str]
    columns: list[str]
    body: list[str]
    truth: list[dict[str, str]]

    def write(self, folder: Path) -> Path:
        """The file as its keeper would hand it over."""
        path = folder / f"{self.name}.{self.kind}"
        if self.kind in ("csv", "txt"):
            path.write_bytes(("\n".join(self.body) + "\n").encode(CODINGS.get(self.encoding, self.encoding)))
        elif self.kind == "xlsx":
            _workbook(path, self.cells())
        elif self.kind == "ods":
            _open_document(path, self.cells())
        else:
            _results(path, self.cells())
        return path

    def cells(self) -> list[list[Any]]:
        """What stands in the cells of a workbook."""
        return [[_cell(cell) for cell in line.split("|")] for line in self.body]


def sheets() -> list[Sheet]:
    """All of them, by name."""
    return [_sheet(path) for path in sorted(HERE.glob("*.txt"))]


def _sheet(path: Path) -> Sheet:
    head, body, truth = path.read_text(encoding="utf-8").split("\n----\n")
    said = dict(line.split(": ", 1) for line in head.splitlines())
    kind, encoding, delimiter, *_ = (*said["file"].split(" "), "", "")
    answers = dict(pair.rsplit("=", 1) for pair in said["set"].split("; "))
    names, *rows = truth.splitlines()
    return Sheet(
        path.stem, kind, encoding, delimiter, answers, said["cols"].split(" "), body.split("\n"),
        [dict(zip(names.split("|"), row.split("|"), strict=True)) for row in rows],
    )  # fmt: skip


def _cell(written: str) -> Any:
    if written.startswith('"'):
        return json.loads(written)
    if len(written) == 10 and written[4] == "-":
        return date.fromisoformat(written)
    try:
        return float(written)
    except ValueError:
        return written


def _workbook(path: Path, rows: list[list[Any]]) -> None:
    with xlsxwriter.Workbook(path) as book:
        page, day = book.add_worksheet(), book.add_format({"num_format": "dd/mm/yyyy"})
        for at, row in enumerate(rows):
            for place, cell in enumerate(row):
                if isinstance(cell, date):
                    page.write_datetime(at, place, cell, day)
                elif cell != "":
                    page.write(at, place, cell)


def _open_document(path: Path, rows: list[list[Any]]) -> None:
    lines = "".join(
        "<table:table-row>"
        + "".join(
            f'<table:table-cell office:value-type="string"><text:p>{cell}</text:p></table:table-cell>'
            if cell != "" else "<table:table-cell/>"
            for cell in row
        )
        + "</table:table-row>"
        for row in rows
    )  # fmt: skip
    names = "".join(
        f' xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"'
        for name in ("office", "table", "text")
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    with zipfile.ZipFile(path, "w") as book:
        book.writestr("mimetype", kind)
        book.writestr(
            "META-INF/manifest.xml",
            '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
            f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
            '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>'
            "</manifest:manifest>",
        )
        book.writestr(
            "content.xml",
            f'<?xml version="1.0" encoding="UTF-8"?><office:document-content{names} office:version="1.2">'
            f'<office:body><office:spreadsheet><table:table table:name="Sheet1">{lines}</table:table>'
            "</office:spreadsheet></office:body></office:document-content>",
        )


def _results(path: Path, rows: list[list[Any]]) -> None:
    written = ", ".join(
        f"[{cell:g}]" if isinstance(cell, float) else f"[{cell}]" for row in rows for cell in row
    )
    table = f"= Results\n#table(columns: {len(rows[0])}, stroke: none, {written})\n"
    path.write_bytes(typst.compile(table.encode()))
