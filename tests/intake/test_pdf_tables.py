"""PDF files of results: ruled tables, columns without lines, and what is refused."""

import io
from pathlib import Path

import pytest
import typst
from PIL import Image

from pricing.errors import FileError
from pricing.intake.mappings.proposals import propose
from pricing.intake.tables import pdf_tables
from pricing.intake.tables.layout import Layout
from pricing.intake.tables.readers import read_file, read_whole
from pricing.untrusted.limits import Limits

ROWS = [
    ("1", "1966 Wexcombe Sedge de luxe", "12 May 2019", "£4,500", "54,000 miles"),
    ("2", "1967 Corvane Six", "12 May 2019", "£3,200", "TMU"),
    ("3", "1971 Lark & Fell Four", "12 May 2019", "Not sold (bid to £2,000)", ""),
] * 20  # two pages
HEAD = ("Lot", "Car", "Sold on", "Price paid", "Mileage")


def pdf(path: Path, stroke: str) -> Path:
    """A sale's results as a program for letters writes them, the header on each page."""
    cells = ", ".join("[" + cell.replace("&", r"\&") + "]" for row in ROWS for cell in row)
    head = ", ".join(f"[*{name}*]" for name in HEAD)
    text = f"= Results of the spring sale\nHeld at the hall.\n#table(columns: 5, stroke: {stroke}, "
    path.write_bytes(typst.compile(f"{text}table.header({head}), {cells})\n".encode()))
    return path


@pytest.mark.parametrize("stroke", ["0.5pt", "none"])
def test_a_table_of_results_is_read_with_lines_and_without(tmp_path: Path, stroke: str) -> None:
    (part,) = read_file(pdf(tmp_path / "results.pdf", stroke))
    assert part.frame.select(HEAD).rows() == [tuple(cell or None for cell in row) for row in ROWS]
    assert part.set_aside["header"] == 1
    proposal = propose(part.frame, "hall")
    assert [column.ours for column in proposal.columns] == [
        "source_ref", "car", "event_date", "amount", "odometer_km"
    ]  # fmt: skip


def test_a_scanned_page_is_refused_with_a_sentence(tmp_path: Path) -> None:
    picture = io.BytesIO()
    Image.new("L", (600, 800), 255).save(picture, "PDF")
    (tmp_path / "scan.pdf").write_bytes(picture.getvalue())
    with pytest.raises(FileError, match="pictures of pages and no text"):
        read_whole(tmp_path / "scan.pdf")


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"%PDF-1.7 and nothing more", "not a readable PDF"),
        (typst.compile(b"A letter about a car, and no table in it.\n\nYours"), "no table that can be told"),
    ],
)
def test_what_is_no_table_is_refused(tmp_path: Path, content: bytes, told: str) -> None:
    (tmp_path / "odd.pdf").write_bytes(content)
    with pytest.raises(FileError, match=told):
        read_whole(tmp_path / "odd.pdf")


def test_a_page_of_more_marks_than_can_be_read_is_refused_by_its_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before words and tables are made of them, which takes as long again."""
    monkeypatch.setattr(pdf_tables, "MOST_MARKS", 500)
    limits, layout = Limits(), Layout()
    with pytest.raises(FileError, match=r"marks.pdf has [0-9,]+ letters and lines on page 1 .* at most 500"):
        list(pdf_tables.read_pdf(pdf(tmp_path / "marks.pdf", "0.5pt"), layout, limits))
