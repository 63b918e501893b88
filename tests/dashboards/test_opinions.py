"""The page of what people say: spans typed or asked for, kept, contradicted, scored."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from pricing.market import Market
from tests.dashboards.pages import a_page, press, said
from tests.opinion_market import opinion_market


@pytest.fixture
def market(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Market:
    monkeypatch.setenv("PRICING_MARKET", str(tmp_path / "market.duckdb"))
    return opinion_market(tmp_path / "market.duckdb")


def filled(page: AppTest, source: str = "B. Lane") -> AppTest:
    page.text_input(key="said_by").set_value(source)
    page.selectbox(key="said_make").set_value("Corvane")
    page.run()
    page.selectbox(key="said_model").set_value("Six")
    page.radio(key="said_holds").set_value("eight in ten")
    page.text_input(key="said_low_2").set_value("3.200")
    page.text_input(key="said_high_2").set_value("5,200")
    return page.run()


def test_what_is_typed_is_kept_and_cars_can_be_asked_about_at_once(market: Market) -> None:
    page = filled(a_page("opinions").run())
    assert not page.exception
    press(page, "Keep what is said")
    assert not page.exception and "1 of 1 statements are kept" in said(page)
    row = market.opinions().filter(source="B. Lane").row(0, named=True)
    assert (row["condition_band"], row["low"], row["high"], row["holds"]) == (
        "average",
        3200,
        5200,
        "eight in ten",
    )
    assert market.model().facts["opinion_alone"]
    assert "fewer than 10 cannot tell how good it was" in said(page)


def test_what_a_span_holds_is_asked_and_not_guessed(market: Market) -> None:
    page = a_page("opinions").run()
    assert page.radio(key="said_holds").value is None
    page.text_input(key="said_low_2").set_value("3.200")
    press(page, "Keep what is said")
    assert "Still to say: who says it, the make, the model, what a span holds" in said(page)
    assert len(market.opinions()) == 4


def test_a_better_state_that_fetches_less_is_asked_again(market: Market) -> None:
    page = filled(a_page("opinions").run())
    page.text_input(key="said_high_3").set_value("900")
    press(page, "Keep what is said")
    assert "fetches less than one in 'average': is that meant?" in said(page)
    assert len(market.opinions()) == 4
    page.checkbox(key="said_meant").set_value(True)
    press(page, "Keep what is said")
    assert len(market.opinions()) == 6


def test_a_span_asked_for_price_by_price_is_taken_over(market: Market) -> None:
    page = filled(a_page("opinions").run())
    page.text_input(key="asked_least").set_value("1k")
    page.text_input(key="asked_most").set_value("16 000")
    page.run()
    for _ in range(3):
        (button,) = [button for button in page.button if button.key == "answer-1"]  # as many above as below
        button.click().run()
    assert "So you would think one in ten sells above" in said(page)
    press(page, "Yes: take it over")
    assert not page.exception and page.radio(key="said_holds").value == "half"
    press(page, "Keep what is said")
    row = market.opinions().filter(source="B. Lane").row(0, named=True)
    assert (row["low"], row["middle"], row["high"], row["holds"]) == (2000, 4000, 8000, "half")


def test_a_statement_is_withdrawn_with_a_reason(market: Market) -> None:
    page = a_page("opinions").run()
    page.selectbox(key="withdraw_id").set_value(market.opinions()["opinion_id"][0])
    page.text_input(key="withdraw_why").set_value("mistyped")
    page.run()
    press(page, "Withdraw it")
    assert not page.exception and "it is kept, and counts no more" in said(page)
    assert len(market.opinions()) == 3 and len(market.statements.read(every=True)) == 4


def test_the_pages_for_buyer_seller_and_valuer_bear_the_mark(market: Market) -> None:
    from pricing.model.market_fit import fit_market
    from pricing.model.saved import save
    from tests.dashboards.pages import at_car

    save(fit_market(market), market)
    car = {"make": "Corvane", "model": "Six", "year": 1966, "condition_band": "average"}
    for name in ("position", "buying", "selling"):
        page = at_car(a_page(name), car, 4000)
        assert not page.exception, name
        assert "Opinion alone: no sale confirms this range" in said(page), name
