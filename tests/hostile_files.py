"""Files that strangers might send: each small, each made to stop a program that believes it."""

import io
import json
import os
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Final

import polars as pl
import pyarrow as pa
import pyarrow.parquet
import xlsxwriter

HEADER: Final = "make,model,amount"
ROW: Final = "Corvane,Estelle,4250"


def two_cells(path: Path) -> None:
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet()
        sheet.write(0, 0, "make")
        sheet.write(1_048_575, 16_383, "Corvane")


def one_long_shared_text(path: Path) -> None:
    """A megabyte of text once, and 4,000 cells that name it; by hand, as no writer takes so long a cell."""
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet()
        for row in range(4000):
            sheet.write(row, 0, "TEXT")
    _rewritten(path, "sharedStrings.xml", lambda xml: xml.replace(b"TEXT", b"x" * 1_000_000))


def tall_and_wide(path: Path) -> None:
    """Two cells in a workbook of the older, binary kind's extent, written as other writers do."""
    two_cells(path)
    _rewritten(path, "sheet1.xml", lambda xml: xml.replace(b'r="', b"r='").replace(b'"', b"'"))


def _rewritten(path: Path, part: str, change: Callable[[bytes], bytes]) -> None:
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, change(content) if name.endswith(part) else content)


def zip_of_zeros(path: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        with archive.open("xl/workbook.xml", "w", force_zip64=True) as part:
            for _ in range(600):
                part.write(bytes(1 << 20))


def coded_text(path: Path) -> None:
    """Dictionary-coded: one text of a megabyte and a million rows that name it."""
    column = pa.DictionaryArray.from_arrays(
        pa.array([0] * 1_000_000, pa.int32()), pa.array(["x" * 1_000_000])
    )
    pa.parquet.write_table(pa.table({"make": column}), path, compression="zstd")


def coded_shorter_text(path: Path) -> None:
    column = pa.DictionaryArray.from_arrays(pa.array([0] * 1_000_000, pa.int32()), pa.array(["x" * 50_000]))
    pa.parquet.write_table(pa.table({"make": column}), path, compression="zstd")


def nested_coded_text(path: Path) -> None:
    column = pa.DictionaryArray.from_arrays(pa.array([0] * 400_000, pa.int32()), pa.array(["x" * 100_000]))
    inner = pa.ListArray.from_arrays(pa.array(range(400_001), pa.int32()), column)
    pa.parquet.write_table(pa.table({"make": inner}), path, compression="zstd")


def deep_parquet(path: Path) -> None:
    column: pa.Array = pa.array([1, 2])
    for _ in range(200):
        column = pa.StructArray.from_arrays([column], ["x"])
    pa.parquet.write_table(pa.table({"make": column}), path)


def large_decimals(path: Path) -> None:
    amounts = pa.array([10**70, 4250], pa.decimal256(76, 2))
    pa.parquet.write_table(pa.table({"make": ["Corvane", "Corvane"], "amount": amounts}), path)


def far_dates(path: Path) -> None:
    days = pa.array([-2_000_000_000, 2_000_000_000, 19_000], pa.int32()).cast(pa.date32())
    times = pa.array([-(2**62), 2**62, 0], pa.int64()).cast(pa.timestamp("us"))
    pa.parquet.write_table(pa.table({"make": ["a", "b", "c"], "event_date": days, "listed_on": times}), path)


def groups_of_a_row(path: Path) -> None:
    rows = {"make": ["Corvane"] * 3_000, "model": [f"Estelle {n % 7}" for n in range(3_000)]}
    pa.parquet.write_table(pa.table(rows), path, row_group_size=1)


def no_utf8(path: Path) -> None:
    ends = pa.array([0, 3], pa.int32()).buffers()[1]
    text = pa.Array.from_buffers(pa.string(), 1, [None, ends, pa.py_buffer(b"\xff\xfe\xfd")])
    pa.parquet.write_table(pa.table({"make": text}), path)


def types_within_types(path: Path) -> None:
    columns = {
        "make": ["Corvane"], "notes": pa.array([[("a", "b")]], pa.map_(pa.string(), pa.string())),
        "amount": pa.array([[{"x": [b"\xff"]}]]),
    }  # fmt: skip
    pa.parquet.write_table(pa.table(columns), path)


def patterns_for_headings(path: Path) -> None:
    path.write_text("*,^.*$,(*),make\n1,2,3,Corvane\n", encoding="utf-8")


def four_bytes_a_letter(path: Path) -> None:
    path.write_bytes(f"{HEADER}\n{ROW}\n".encode("utf-32"))


def new_keys(path: Path) -> None:
    lines = (json.dumps({f"k{n}": "1"}) for n in range(20_000))
    path.write_text("\n".join(lines), encoding="utf-8")


def deep_json(path: Path) -> None:
    path.write_text('{"make": ' + "[" * 100_000 + "]" * 100_000 + "}", encoding="utf-8")


def long_numbers(path: Path) -> None:
    path.write_text(f'{{"make": "Corvane", "model": "Estelle", "amount": {"9" * 5000}}}\n', encoding="utf-8")


def half_characters(path: Path) -> None:
    path.write_text('{"make": "Corvane \\ud800", "mod\\udc00el": "Estelle"}\n', encoding="utf-8")


def ragged(path: Path) -> None:
    """Many short lines and one of very many cells."""
    path.write_text(HEADER + "\n" + "a,b,c\n" * 15_000 + "," * 1_400_000 + "\n", encoding="utf-8")


def ragged_wide(path: Path) -> None:
    path.write_text(HEADER + "\n" + "a,b,c\n" * 15_000 + ("," * 90_000 + "\n") * 15, encoding="utf-8")


def huge_header(path: Path) -> None:
    path.write_text("x" * 140_000 + ",make\n1,2\n", encoding="utf-8")


def long_heading(path: Path) -> None:
    path.write_text("x" * 2_000 + ",make\n1,2\n", encoding="utf-8")


def many_columns(path: Path) -> None:
    path.write_text(
        ",".join(f"c{n}" for n in range(10_000)) + "\n" + ",".join("1" * 10_000) + "\n", encoding="utf-8"
    )


def cut_utf8(path: Path) -> None:
    path.write_bytes(f"{HEADER}\nÉlan,Estelle,4250\nCorvane,Ésprit é".encode()[:-1])


def cut_utf16(path: Path) -> None:
    path.write_bytes(f"{HEADER}\n{ROW}\n".encode("utf-16")[:-1])


def half_utf16(path: Path) -> None:
    path.write_bytes(f"{HEADER}\n{ROW}\n".encode("utf-16") + b"\x00\xd8a\x00\n\x00")


def half_utf8(path: Path) -> None:
    path.write_bytes(f"{HEADER}\n{ROW}\nCorvane,\xc3".encode() + b"\xed\xa0\x80,1\n")


def open_quote(path: Path) -> None:
    path.write_text(f'{HEADER}\n"{ROW}\n' + f"{ROW}\n" * 1_000, encoding="utf-8")


def open_quote_long(path: Path) -> None:
    lines = [ROW] * 30_000
    lines[10_000] = 'Corvane,"Estelle,4250'
    path.write_text("\n".join([HEADER, *lines]), encoding="utf-8")


def returns_only(path: Path) -> None:
    path.write_bytes("\r".join([HEADER, ROW, ROW.replace("4250", "4300")]).encode())


def damaged_workbook(path: Path) -> None:
    two = pl.DataFrame({"make": [f"Corvane {n}" for n in range(500)], "amount": range(500)})
    two.write_excel(path)
    raw = bytearray(path.read_bytes())
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        start = archive.getinfo("xl/worksheets/sheet1.xml").header_offset
    raw[start + 200 : start + 260] = bytes(60)
    path.write_bytes(bytes(raw))


def offers_without_a_vehicle(path: Path) -> None:
    offer = '{"@type":"Person","makesOffer":[{"@type":"Offer"},{"@type":"Offer"}],"x":{"makesOffer":[{}]}}'
    path.write_text(f'<script type="application/ld+json">{offer}</script>', encoding="utf-8")


def offers_within_offers(path: Path) -> None:
    offer = '{"makesOffer":[' * 30 + "{}" + ',{"makesOffer":{}}]}' * 30
    path.write_text(f'<script type="application/ld+json">{offer}</script>', encoding="utf-8")


def half_character_page(path: Path) -> None:
    car = {"@type": "Car", "brand": "Corvane \ud800", "model": "Estelle", "offers": {"price": "9" * 5000}}
    path.write_text(f'<script type="application/ld+json">{json.dumps(car)}</script>', encoding="utf-8")


def pipe(path: Path) -> None:
    os.mkfifo(path)


def device(path: Path) -> None:
    path.symlink_to("/dev/zero")


def folder_with_a_way_out(path: Path) -> None:
    path.mkdir()
    outside = path.with_name(f"{path.name} outside")
    outside.mkdir()
    (outside / "a.html").write_text("<p>", encoding="utf-8")
    (path / "a.html").symlink_to(outside / "a.html")


HOSTILE: Final[dict[str, tuple[str, Callable[[Path], None], str]]] = {
    "two cells": ("xlsx", two_cells, "columns and may have at most 2,000"),
    "two cells, written otherwise": ("xlsx", tall_and_wide, "MB of memory"),
    "one long shared text": ("xlsx", one_long_shared_text, "holds a text of 1,000,167 bytes"),
    "zip of zeros": ("xlsx", zip_of_zeros, "unpacks to more than"),
    "damaged deflate stream": ("xlsx", damaged_workbook, "not a readable workbook"),
    "coded text": ("parquet", coded_text, "has a cell of 1,000,000 bytes"),
    "coded shorter text": ("parquet", coded_shorter_text, "its texts come to more than"),
    "nested coded text": ("parquet", nested_coded_text, "its texts come to more than"),
    "deep parquet": ("parquet", deep_parquet, "nested deeper than|cannot be read"),
    "large decimals": ("parquet", large_decimals, ""),
    "far dates": ("parquet", far_dates, ""),
    "groups of a row": ("parquet", groups_of_a_row, ""),
    "text that is no UTF-8": ("parquet", no_utf8, "Invalid UTF8"),
    "types within types": ("parquet", types_within_types, ""),
    "patterns for headings": ("csv", patterns_for_headings, ""),
    "four bytes a letter": ("csv", four_bytes_a_letter, ""),
    "new keys": ("jsonl", new_keys, "name more than 2,000 columns"),
    "deep json": ("jsonl", deep_json, "line 1 is not JSON"),
    "long numbers": ("jsonl", long_numbers, ""),
    "half characters": ("jsonl", half_characters, ""),
    "ragged": ("csv", ragged, "'cells beyond the header' has 1,399,997 bytes"),
    "ragged and wide": ("csv", ragged_wide, ""),
    "huge header": ("csv", huge_header, "larger than field limit|heading of 140,000"),
    "long heading": ("csv", long_heading, "heading of 2,000 characters"),
    "many columns": ("csv", many_columns, "has 10,000 columns|10,001 columns"),
    "cut UTF-8": ("csv", cut_utf8, "is cut short"),
    "cut UTF-16": ("csv", cut_utf16, "is cut short"),
    "half a UTF-16 character": ("csv", half_utf16, "not utf-16 text"),
    "half a UTF-8 character": ("csv", half_utf8, ""),
    "open quote": ("csv", open_quote, "quotation mark is opened and not closed"),
    "open quote in a long file": ("csv", open_quote_long, "quotation mark|larger than field limit"),
    "carriage returns alone": ("csv", returns_only, ""),
    "offers without a vehicle": ("html", offers_without_a_vehicle, ""),
    "offers within offers": ("html", offers_within_offers, ""),
    "half a character in a page": ("html", half_character_page, ""),
    "a pipe": ("csv", pipe, "is a pipe, not a file"),
    "a device": ("csv", device, "is a device, not a file"),
    "a page that is a pipe": ("html", pipe, "is a pipe, not a file"),
    "a folder with a way out": ("d", folder_with_a_way_out, "a link that leads out of its folder"),
}
"""By name: the ending, what writes the file, what of the sentence that refuses it ("" where it is read)."""


def write_all(folder: Path) -> dict[str, Path]:
    """Write every hostile file; their paths by name."""
    paths = {}
    for number, (name, (ending, write, _)) in enumerate(HOSTILE.items()):
        paths[name] = folder / f"file {number}.{ending}"
        write(paths[name])
    return paths
