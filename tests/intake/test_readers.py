"""Files of tables: every kind the trade uses, and files that are broken or hostile."""

import json
import os
import struct
import zipfile
import zlib
from pathlib import Path

import polars as pl
import pytest
import xlsxwriter
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pricing.errors import FileError, PricingError
from pricing.intake.tables import text_tables
from pricing.intake.tables.layout import Layout
from pricing.intake.tables.readers import read_file, read_whole

LARGE = 150_000_000
TABLE = pl.DataFrame({"make": ["Corvane", "Élan"], "paid": ["4250", "3,5"]})


def cells(path: Path, layout: Layout | None = None) -> list[tuple[object, ...]]:
    """Every row of a file, without its number."""
    return read_whole(path, layout).drop("row_number").rows()


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_delimiters_and_encodings_are_found_out(tmp_path: Path, delimiter: str, encoding: str) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(TABLE.write_csv(separator=delimiter).encode(encoding))
    assert cells(path) == TABLE.rows()
    assert read_whole(path)["row_number"].to_list() == [2, 3]


def test_a_header_may_stand_below_a_title(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Results of the spring sale\n\n" + TABLE.write_csv())
    frame = read_whole(tmp_path / "a.csv", Layout(header_row=3))
    assert frame.drop("row_number").rows() == TABLE.rows()
    assert frame["row_number"].to_list() == [4, 5]


def test_every_sheet_or_a_named_one(tmp_path: Path) -> None:

    with xlsxwriter.Workbook(tmp_path / "a.xlsx") as book:
        TABLE.write_excel(book, "one")
        TABLE.select("make", date=pl.date(2024, 5, 1)).write_excel(book, "two")
        book.add_worksheet("empty")
    whole = read_whole(tmp_path / "a.xlsx")
    assert (whole.height, whole["row_number"].to_list()) == (4, [2, 3, 2, 3])
    assert cells(tmp_path / "a.xlsx", Layout(sheet="two"))[0] == ("Corvane", "2024-05-01 00:00:00")
    with pytest.raises(FileError, match="no sheet 'three'; it has: one, two, empty"):
        read_whole(tmp_path / "a.xlsx", Layout(sheet="three"))


def test_parquet_keeps_its_types(tmp_path: Path) -> None:
    typed = pl.DataFrame({"year": [1968], "options": [["overdrive"]], "paid": [4250.5]})
    typed.write_parquet(tmp_path / "a.parquet")
    assert read_whole(tmp_path / "a.parquet").drop("row_number").equals(typed)


def test_json_lines_of_any_shape_are_cells(tmp_path: Path) -> None:
    lines = [
        '{"make": "Corvane", "year": 1968, "options": ["overdrive", "tow_bar"]}',
        "",
        '{"make": null, "x": {"y": 1}}',
    ]
    (tmp_path / "a.jsonl").write_text("\n".join(lines))
    assert cells(tmp_path / "a.jsonl") == [
        ("Corvane", "1968", "overdrive;tow_bar", None),
        (None, None, None, '{"y": 1}'),
    ]
    assert read_whole(tmp_path / "a.jsonl")["row_number"].to_list() == [1, 3]


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.jsonl", "{", "line 1 is not JSON"),
        ("a.jsonl", "[1]", "line 1 is not a JSON object"),
        ("a.jsonl", "[" * 100_000, "line 1 is not JSON"),
        ("a.parquet", "PAR1", "cannot be read"),
        ("a.xlsx", "PK", "not a readable workbook"),
        ("a.csv", "\n\n\n", "a.csv"),
    ],
)
def test_a_broken_file_is_one_line(tmp_path: Path, name: str, content: str, message: str) -> None:
    (tmp_path / name).write_text(content)
    with pytest.raises(FileError, match=message) as caught:
        read_whole(tmp_path / name)
    assert "\n" not in str(caught.value)


def test_a_workbook_that_unpacks_without_end_is_refused(
    tmp_path: Path,
) -> None:
    path = tmp_path / "a.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b"\0" * LARGE)
    with pytest.raises(FileError, match="unpacks to more than"):
        read_whole(path)
    # What the archive says of its size is not believed.
    raw = path.read_bytes()
    size = struct.pack("<I", LARGE)
    assert raw.count(size) == 2
    path.write_bytes(raw.replace(size, struct.pack("<I", 100)))
    with pytest.raises(FileError, match="unpacks to more than"):
        read_whole(path)
    assert zlib.crc32(raw) != zlib.crc32(path.read_bytes())


def test_a_workbook_that_says_it_is_longer_than_it_is(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    TABLE.write_excel(path)
    raw = bytearray(path.read_bytes())
    entry = raw.find(b"PK\x01\x02")
    raw[entry + 42 : entry + 46] = struct.pack("<I", 1 << 20)  # where its first member begins
    path.write_bytes(bytes(raw))
    with pytest.raises(FileError, match="not a readable workbook|cannot be read"):
        read_whole(path)


def test_a_huge_cell_or_an_unclosed_quote_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PRICING_READ_CELL", "1000")
    (tmp_path / "a.csv").write_text("make,paid\n" + ("x" * 5_000_000 + ",1\n") * 2)
    with pytest.raises(FileError, match="a line of more than"):
        read_whole(tmp_path / "a.csv")
    (tmp_path / "b.csv").write_text('make,paid\na,"1\n' + "b,2\n" * 1000)
    with pytest.raises(FileError, match="field larger than field limit"):
        read_whole(tmp_path / "b.csv")


def test_parts_add_up_and_say_how_far_they_are(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(text_tables, "PART_ROWS", 1000)
    monkeypatch.delattr(os, "fork")  # read in this process
    rows = pl.DataFrame({"make": pl.int_range(5000, eager=True).cast(pl.String)})
    rows.write_csv(tmp_path / "a.csv")
    parts = list(read_file(tmp_path / "a.csv"))
    assert len(parts) > 1
    assert pl.concat([part.frame for part in parts])["make"].to_list() == rows["make"].to_list()
    assert [part.rows_done for part in parts] == pl.Series(
        [part.frame.height for part in parts]
    ).cum_sum().to_list()
    assert parts[-1].rows_expected == 5000


CELL = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=5)
LINES = st.lists(st.lists(CELL, min_size=1, max_size=4), min_size=1, max_size=8)


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(LINES, st.sampled_from([",", ";"]))
def test_any_text_is_read_or_refused_and_no_line_is_lost(
    tmp_path: Path, lines: list[list[str]], mark: str
) -> None:
    path = tmp_path / "a.csv"
    path.write_text(
        "make,paid\n" + "\n".join(mark.join(line) for line in lines), encoding="utf-8", newline=""
    )
    try:
        read_whole(path)
    except PricingError as error:
        assert "\n" not in str(error)


def test_lines_with_extra_cells_keep_them(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text('make,make,paid\na,b,1\nc,d,2,"x,y",z\n\ne\n')
    frame = read_whole(tmp_path / "a.csv")
    assert frame.rows() == [
        ("a", "b", "1", None, 2),
        ("c", "d", "2", "x,y,z", 3),
        ("e", None, None, None, 5),
    ]
    assert frame.columns == ["make", "make_duplicated_0", "paid", text_tables.EXTRA_CELLS, "row_number"]


def test_json_dumps_is_the_text_of_nested_cells(tmp_path: Path) -> None:
    (tmp_path / "a.ndjson").write_text(json.dumps({"a": [1, 2], "b": True, "row_number": 9}))
    assert read_whole(tmp_path / "a.ndjson").rows() == [("[1, 2]", "true", 1)]


def test_a_compact_file_of_a_million_rows_is_read_within_the_memory_of_its_size(tmp_path: Path) -> None:
    rows = pl.int_range(1_000_000, eager=True)
    texts = {f"text {nth}": (rows * (nth + 7) % 999_983).cast(pl.String) for nth in range(10)}
    numbers = {f"number {nth}": rows * (nth + 3) % 10_007 for nth in range(10)}
    pl.DataFrame(texts | numbers).write_parquet(tmp_path / "sales.parquet")
    assert sum(part.frame.height for part in read_file(tmp_path / "sales.parquet")) == rows.len()
