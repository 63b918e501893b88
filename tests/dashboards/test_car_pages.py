"""The pages that take a car: their numbers are the library's, and their widgets move them."""

from decimal import Decimal
from typing import Any

from streamlit.testing.v1 import AppTest

from pricing.condition.assessment import assess
from pricing.condition.budget import repair_budget
from pricing.condition.catalogue import Catalogue
from pricing.condition.inspection import Inspection
from pricing.condition.repairs import price_repairs
from pricing.decisions.buying import BuyerTerms, buy_car
from pricing.decisions.mending import mend_or_buy
from pricing.decisions.seller_terms import SellerTerms
from pricing.decisions.selling import sell_car, selling_evidence
from pricing.evidence.comparison.choices import kept
from pricing.evidence.comparison.comparables import find_comparables
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.model.saved import load
from pricing.operations import drafts
from pricing.operations.demo_files import DEMO_CATALOGUE, EXTENSIONS
from pricing.store.market import Market
from pricing.words.buying import limit_sentences
from pricing.words.condition import budget_sentence, mending_sentence
from pricing.words.evidence import reconciliation_sentences
from pricing.words.selling import auction_sentences, channel_sentence
from pricing.words.sentences import rounded
from tests.cars import car_of
from tests.dashboards.pages import a_page, at_car, press, said, settle, table


def with_sheet(page: AppTest, market: Market, car: dict[str, Any]) -> Inspection:
    """A half-done sheet of the car, in hand."""
    said_of = {name: car[name] for name in ("make", "model", "variant", "year") if car[name] is not None}
    walk = Inspection.start("monocoque", said_of, extensions=EXTENSIONS)
    for place, check in enumerate(walk.sheet.checks[5:40]):
        walk = walk.record(check.id, ("sound", "worn", "needs repair")[place % 3])
    name = drafts.new_name()
    drafts.keep_sheet(market.path, name, walk)
    page.query_params["sheet"] = name
    return walk


def test_comparable_sales_are_the_librarys(market: Market, car: dict[str, Any]) -> None:
    page = at_car(a_page("comparables"), car)
    assert not page.exception
    indexed = ComparablesIndex.build(market.sales(), load(market), currency="EUR")
    found = find_comparables(indexed, car_of(market, car))
    assert [metric.value for metric in page.metric] == [
        f"{rounded(amount):,}" for amount in (found.low, found.mid, found.high) if amount is not None
    ]
    assert all(sentence in said(page) for sentence in reconciliation_sentences(found))
    assert (
        table(page, "adjusted_price", "weight")["record_id"].to_list() == found.table["record_id"].to_list()
    )
    page.slider(key="count").set_value(5).run()
    fewer = find_comparables(indexed, car_of(market, car), count=5)
    assert page.metric[1].value == f"{rounded(fewer.mid):,}"


def test_a_choice_about_a_sale_is_kept_with_its_reason_and_counts(
    market: Market, car: dict[str, Any]
) -> None:
    page = at_car(a_page("comparables"), car)
    page.text_input(key="subject").set_value("the green one").run()
    record = table(page, "adjusted_price")["record_id"].iloc[0]
    press(page, "Keep this choice")
    assert "needs a reason in writing" in said(page)
    assert kept(market, "the green one") == ()
    page.text_area[0].set_value("a wreck, seen")
    press(page, "Keep this choice")
    (choice,) = kept(market, "the green one")
    assert (choice.record_id, choice.action) == (record, "drop")
    assert record not in table(page, "adjusted_price")["record_id"].to_list()


def test_mending_asks_for_an_inspection_first(market: Market, car: dict[str, Any]) -> None:
    page = at_car(a_page("mending"), car)
    assert "fill in a sheet for the car first" in said(page)


def test_mending_is_the_librarys_and_its_fields_move_it(market: Market, car: dict[str, Any]) -> None:
    page = a_page("mending")
    walk = with_sheet(page, market, car)
    at_car(page, car, asking=3000)
    assert not page.exception
    for country in ("GB", "DE"):
        if country != "GB":
            page.selectbox(key="work_country").select(country).run()
        costs = price_repairs(assess(walk), Catalogue.open(DEMO_CATALOGUE), country=country, currency="EUR")
        assert budget_sentence(repair_budget(costs)) in said(page)
        decision = mend_or_buy(load(market), costs, asking=Decimal(3000))
        for row in decision.bands.iter_rows(named=True):
            assert mending_sentence(row, decision) in said(page)
    assert "Invented demo figures" in said(page)


def test_buying_is_the_librarys_and_its_fields_move_it(market: Market, car: dict[str, Any]) -> None:
    page = at_car(a_page("buying"), car)
    assert "Give the price that is asked" in said(page)
    page = at_car(a_page("buying"), car, asking=5000)
    assert not page.exception
    for certainty in (60, 80):
        page.slider(key="certainty").set_value(certainty).run()
        terms = BuyerTerms("EUR", certainty / 100)
        facts = buy_car(market, load(market), car_of(market, car), terms, asking=Decimal(5000))
        assert page.metric[0].value == f"{facts.walk_away.price:,.0f}"
        assert all(sentence in said(page) for sentence in limit_sentences(facts))
    page.selectbox(key="currency").select("GBP").run()
    assert "Give the price that is asked" in said(page)
    page.number_input(key="offer_asking").set_value(4000.0).run()
    facts = buy_car(market, load(market), car_of(market, car), BuyerTerms("GBP", 0.8), asking=Decimal(4000))
    assert page.metric[0].value == f"{facts.walk_away.price:,.0f}"


def test_selling_is_the_librarys_and_its_fields_move_it(market: Market, car: dict[str, Any]) -> None:
    page = settle(at_car(a_page("selling"), car, asking=5000))
    assert not page.exception
    model = load(market)
    evidence = selling_evidence(market, model)
    for own in (None, Decimal(2500)):
        if own is not None:
            page.number_input(key="own_value").set_value(float(own)).run()
        terms = SellerTerms("EUR", own, asking=Decimal(5000))
        facts = sell_car(market, model, car_of(market, car), terms, evidence=evidence)
        assert all(channel_sentence(facts, found) in said(page) for found in facts.channels)
        assert all(sentence in said(page) for sentence in auction_sentences(facts) if facts.auction)


def test_the_condition_comes_from_the_sheet_in_hand_if_it_is_of_this_car(
    market: Market, car: dict[str, Any]
) -> None:
    page = a_page("buying")
    walk = with_sheet(page, market, car)
    at_car(page, car, asking=5000)
    assert not page.exception
    result = assess(walk)
    costs = price_repairs(result, Catalogue.open(DEMO_CATALOGUE), country="GB", currency="EUR")
    bare = car | {"condition_band": None, "condition_score": None}
    facts = buy_car(
        market,
        load(market),
        car_of(market, bare),
        BuyerTerms("EUR", 0.6),
        asking=Decimal(5000),
        inspection=result,
        costs=costs,
    )
    assert page.metric[0].value == f"{facts.walk_away.price:,.0f}"
    page.checkbox(key="use_sheet").uncheck().run()
    facts = buy_car(market, load(market), car_of(market, car), BuyerTerms("EUR", 0.6), asking=Decimal(5000))
    assert page.metric[0].value == f"{facts.walk_away.price:,.0f}"
