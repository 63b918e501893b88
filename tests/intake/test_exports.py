"""Cells and headers of exports: no line of them is a formula to a spreadsheet, and all of them come back."""

import re
from pathlib import Path

import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from pricing.intake.exports import (
    neutral_names,
    neutral_text,
    neutralised,
    restored,
    restored_names,
    restored_text,
)
from pricing.store.market import Market

TEXTS = st.text(st.sampled_from(list("=+-@＝＋－＠'\t\r\n \xa0\u3000a1.,")), max_size=8)
NUMBER = re.compile(r"[-+]?[0-9][0-9.,]*")


@given(st.lists(TEXTS, min_size=1, max_size=20))
def test_no_line_begins_a_formula_and_every_text_comes_back(texts: list[str]) -> None:
    cells = pl.DataFrame({"cell": texts})
    safe = cells.select(neutralised(pl.col("cell")))
    assert safe.select(restored(pl.col("cell")))["cell"].to_list() == texts
    single = [neutral_text(text) for text in texts]
    assert [restored_text(text) for text in single] == texts
    for text, cell in zip(single, safe["cell"], strict=True):
        assert cell == text or NUMBER.fullmatch(cell)
        for line in re.split(r"[\r\n]", text):
            assert not re.match("[ \xa0\u3000]*[=+\\-@＝＋－＠\t]", line), text


@given(st.lists(TEXTS, min_size=1, max_size=6, unique=True))
def test_headers_come_back(names: list[str]) -> None:
    frame = pl.DataFrame({name: [1] for name in names})
    assert restored_names(neutral_names(frame)).columns == names


def test_a_quarantine_exported_with_a_formula_for_a_header_is_loaded_again(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    given = tmp_path / "sales.csv"
    given.write_text(
        "make,model,year,outcome,event_date,amount,currency,price_basis,=HYPERLINK(1)\n"
        "Wexcombe,Sedge,1966,sold,2020-01-01,-5,EUR,all-in,x\n"
    )
    report = market.load([given])
    assert report.rejected == 1
    (written,) = [path for path in market.export_quarantine(tmp_path / "out") if path.suffix == ".csv"]
    head = written.read_text().splitlines()[0]
    assert "'=HYPERLINK(1)" in head and ",=HYPERLINK" not in head
    again = market.load([written])
    assert (again.read, again.waiting) == (1, 1)
