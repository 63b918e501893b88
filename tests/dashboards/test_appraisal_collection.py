"""A list of cars on the page of appraisals: valued by the library, entered one by one, handed out whole."""

from typing import Any

import fastexcel
import pytest
from streamlit.testing.v1 import AppTest

from dashboards import jobs
from pricing.appraisal.collection import total_of
from pricing.appraisal.collection_total import figure_of
from pricing.appraisal.register import listed
from pricing.reports.collection import collection_sentence
from pricing.store.market import Market
from tests.dashboards.pages import a_page, press, said, table


def at_list(text: str) -> AppTest:
    page = a_page("appraisals").run()
    page.selectbox(key="appraisal").select("a collection, from a list of cars").run()
    page.text_input(key="valuer").set_value("A. Valuer").run()
    for label, answer in (
        ("Who the valuation is for", "Client Alpha"),
        ("What it is to be used for", "insurance"),
    ):
        (field,) = [field for field in page.text_input if field.label.startswith(label)]
        field.set_value(answer).run()
    for label, answer in (("Basis", "market value"), ("Market level", "private")):
        (choice,) = [field for field in page.selectbox if field.label.startswith(label)]
        choice.select(answer).run()
    return page.file_uploader(key="collection").set_value(("cars.csv", text.encode(), "text/csv")).run()


def test_a_list_becomes_appraisals_a_workbook_and_one_bound_document(
    market: Market, car: dict[str, Any]
) -> None:
    line = f"{car['make']},{car['model']},{car['year']},{car['condition_band']}"
    page = at_list(f"reference,make,model,year,condition band\nA,{line}\nB,{line}\n=C,Nobody,None,1960,\n")
    assert not page.exception
    assert listed(market).is_empty()
    press(page, "Value the list and freeze the evidence")
    assert not page.exception
    (job,) = [job for key, job in jobs._all()[1].items() if key.startswith("collection ")]
    made = job.outcome
    assert [item.facts is None for item in made.items] == [False, False, True]
    assert collection_sentence(made.items, total_of(made.items), "EUR") in said(page)
    rows = table(page, "reference", "counted", "reason")
    figures = [figure_of(item.facts) for item in made.items if item.facts is not None]
    assert rows["counted"].dropna().to_list() == [float(figure) for figure in figures if figure is not None]
    assert rows["counted"].sum() == pytest.approx(float(total_of(made.items).added))
    assert "'Nobody'" in rows["reason"].iloc[2]
    assert f"Row 4 was not valued: {made.items[2].reason}" in said(page).replace("\\", ""), (
        "cut off in a cell"
    )
    assert rows["entered"].dropna().to_list() == sorted(listed(market)["appraisal_id"])
    assert listed(market)["made_by"].to_list() == ["A. Valuer"] * 2
    assert made.bound.startswith(b"%PDF")
    sheets = fastexcel.read_excel(made.workbook)
    assert sheets.load_sheet("Schedule").to_polars()["Reference"].to_list()[:2] == ["A", "B"]
    assert [button.label for button in page.button if button.label.startswith("Value ")] == []
    page.run()
    assert listed(market).height == 2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("make,model,year\n", "cars.csv"),
        ("make,model\nCorvane,Lark\n", "cars.csv: the column year is needed"),
        ("make,model,year,shoes\nCorvane,Lark,1960,red\n", "cars.csv: no column 'shoes' of a car"),
    ],
)
def test_a_list_that_is_none_is_one_sentence(market: Market, text: str, words: str) -> None:
    page = at_list(text)
    assert not page.exception
    assert words in said(page)
    assert [button for button in page.button if button.label.startswith("Value ")] == []


def test_a_list_needs_the_role(market: Market, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dashboards.people.may", lambda act: act == "read")
    page = a_page("appraisals").run()
    page.selectbox(key="appraisal").select("a collection, from a list of cars").run()
    assert "needs the role appraise" in said(page)
    assert len(page.file_uploader) == 0
