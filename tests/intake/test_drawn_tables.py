"""Tables found where people draw them: under titles, several in a file, among totals, units and remarks."""

from collections.abc import Sequence
from pathlib import Path

import polars as pl
import pytest

from pricing.intake.tables.drawn_tables import tables_in
from pricing.intake.tables.readers import read_file, read_whole

BOOKS = Path(__file__).parent / "books"
TABLE: list[Sequence[str | None]] = [
    ["Make", "Model", "Year", "Price"],
    ["Corvane", "Six", "1968", "4250"],
    ["Wexcombe", "Sedge", "1966", "3900"],
]


def grid(*rows: Sequence[str | None]) -> pl.DataFrame:
    width = max(map(len, rows))
    whole = [[*row] + [None] * (width - len(row)) for row in rows]
    return pl.DataFrame(whole, schema={f"c{at}": pl.String for at in range(width)}, orient="row")


def makes(frame: pl.DataFrame) -> list[tuple[str, int]]:
    return frame.select("Make", "row_number").rows()


def test_a_header_is_found_under_titles_with_a_blank_column() -> None:
    table = tables_in(grid(["Spring sale"], [None], *([row[0], None, *row[1:]] for row in TABLE)))[0]
    assert table.frame.columns == ["Make", "Model", "Year", "Price", "row_number"]
    assert makes(table.frame) == [("Corvane", 4), ("Wexcombe", 5)]


def test_totals_remarks_and_repeated_headers_are_set_aside_and_counted() -> None:
    rows = [
        *TABLE,
        TABLE[0],
        TABLE[1],
        ["Total", None, None, "12400"],
        [None],
        ["Prices as told at the meeting"],
    ]
    table = tables_in(grid(*rows))[0]
    assert makes(table.frame) == [("Corvane", 2), ("Wexcombe", 3), ("Corvane", 5)]
    assert dict(table.set_aside) == {"header": 1, "total": 1, "remark": 1}


def test_units_below_the_header_join_it() -> None:
    table = tables_in(
        grid(["Make", "Model", "Mileage", "Price"], [None, None, "km", "£"], ["Corvane", "Six", "5", "4250"])
    )[0]
    assert table.frame.columns[:4] == ["Make", "Model", "Mileage (km)", "Price (£)"]
    assert table.frame.height == 1


def test_merged_headings_are_joined_to_their_parts() -> None:
    table = tables_in(grid(
        ["Lots", None, "Estimate", None, None], ["Make", "Model", "low", "high", "Price"],
        ["Corvane", "Six", "3000", "4000", "3600"],
    ))[0]  # fmt: skip
    assert table.frame.columns[:5] == ["Make", "Model", "Estimate low", "Estimate high", "Price"]


def test_a_heading_merged_over_two_rows_is_its_columns() -> None:
    table = tables_in(grid(
        ["Car", None, None, "Sold", "State", "Told by"], ["Make", "Model", "Year", "Price", None, "Member"],
        ["Corvane", "Six", "1968", "3600", "good", "Bill"],
    ))[0]  # fmt: skip
    assert table.frame.columns[:6] == ["Make", "Model", "Year", "Price", "State", "Member"]


def test_a_make_in_a_merged_cell_holds_for_the_rows_below_it() -> None:
    table = tables_in(
        grid(TABLE[0], TABLE[1], [None, "Four", "1971", "3100"], TABLE[2], [None, "Tern", "1969", "2900"])
    )[0]
    assert table.frame["Make"].to_list() == ["Corvane", "Corvane", "Wexcombe", "Wexcombe"]


def test_two_tables_of_a_sheet_are_two() -> None:
    other = [["Marke", "Modell", "Baujahr", "Zustand"], ["Aubrelle", "Rive", "1961", "gut"]]
    first, second = tables_in(grid(*TABLE, [None], ["Second day"], *other))
    assert (first.frame.height, second.frame.height) == (2, 1)
    assert second.frame["Marke"].to_list() == ["Aubrelle"]


@pytest.mark.parametrize("kind", ["xls", "xlsb", "ods"])
def test_workbooks_of_other_kinds(kind: str) -> None:
    """Books written by xlwt, pyxlsbwriter and odfpy: a title, a blank row, a header, two cars, a total."""
    part = next(read_file(BOOKS / f"sale.{kind}"))
    assert makes(part.frame) == [("Corvane", 4), ("Wexcombe", 5)]
    assert part.frame["Price"].to_list() == ["4250", "3900.5"]
    assert dict(part.set_aside) == {"title": 1, "total": 1}


@pytest.mark.parametrize("delimiter", [";", "\t", "|", ","])
def test_a_text_table_under_a_title_whatever_parts_it(tmp_path: Path, delimiter: str) -> None:
    lines = [
        "Results, spring; 2019",
        "",
        *(delimiter.join(map(str, row)) for row in TABLE),
        delimiter.join(["Summe", "", "", "8150"]),
    ]
    (tmp_path / "a.txt").write_text("\n".join(lines))
    assert makes(read_whole(tmp_path / "a.txt")) == [("Corvane", 4), ("Wexcombe", 5)]


def test_a_large_text_file_under_a_title_is_read_part_by_part(tmp_path: Path) -> None:
    rows = "\n".join("Corvane,Six,1968,4250" for _ in range(30_000))
    (tmp_path / "a.csv").write_text(f"Results of a program\n\nMake,Model,Year,Price\n{rows}\n")
    frame = read_whole(tmp_path / "a.csv")
    assert frame.height == 30_000 and frame["row_number"][0] == 4
