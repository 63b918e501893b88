"""The pages that take a car: their numbers are the library's, and their widgets move them."""

import json
from datetime import date, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from pricing.condition.assessment import assess
from pricing.condition.budget import repair_budget
from pricing.condition.catalogue import Catalogue, Quote, quotes_of
from pricing.condition.inspection import Inspection
from pricing.condition.repairs import price_repairs
from pricing.decisions.buy.alternatives import Wanted
from pricing.decisions.buy.buying import BuyerTerms, buy_car
from pricing.decisions.car_price import inspected
from pricing.decisions.mending import MendOrBuy, mend_or_buy
from pricing.decisions.sell.seller_terms import SellerTerms
from pricing.decisions.sell.selling import sell_car
from pricing.decisions.sell.selling_evidence import selling_evidence
from pricing.decisions.simulation import simulate
from pricing.evidence.comparison.choices import kept
from pricing.evidence.comparison.comparables import find_comparables
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.model.saved import load
from pricing.operations import drafts
from pricing.operations.bundled import DEMO_CATALOGUE, EXTENSIONS
from pricing.operations.settings import Settings
from pricing.store.market import Market
from pricing.vocabulary import OPTION_CODES
from pricing.words.buying import (
    alternative_sentences,
    argument_sentences,
    limit_sentences,
    total_sentences,
    verdict_sentence,
)
from pricing.words.condition import goals_sentence, mending_sentence
from pricing.words.evidence import reconciliation_sentences
from pricing.words.language.reader import rounded
from pricing.words.selling import (
    advice_sentences,
    auction_sentences,
    channel_sentence,
    first_sentences,
    unsold_sentence,
)
from tests.cars import car_of
from tests.code_words import CODE_WORDS
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
    book = ComparablesIndex.build(market.sales(), load(market), currency="EUR")
    found = find_comparables(book, car_of(market, car))
    assert [metric.value for metric in page.metric] == [
        f"{rounded(amount):,}" for amount in (found.low, found.mid, found.high) if amount is not None
    ]
    assert all(sentence in said(page) for sentence in reconciliation_sentences(found))
    assert (
        table(page, "adjusted_price", "weight")["record_id"].to_list() == found.table["record_id"].to_list()
    )
    page.slider(key="count").set_value(5).run()
    fewer = find_comparables(book, car_of(market, car), count=5)
    assert page.metric[1].value == f"{rounded(fewer.mid):,}"


def test_comparables_that_end_before_the_models_last_offer_are_held_against_it(
    market: Market, car: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    last = date.fromisoformat(load(market).facts["last_date"])
    earlier = partial(find_comparables, as_of=last - timedelta(1))
    monkeypatch.setattr("dashboards.comparables.find_comparables", earlier)
    page = at_car(a_page("comparables"), car)
    assert not page.exception and not page.error
    assert "The comparable sales come to" in said(page)


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


def test_mending_takes_the_whole_car_of_the_sheet_where_the_form_has_none(
    market: Market, car: dict[str, Any]
) -> None:
    """Its reading is in kilometres, whatever unit odometers are read in here; its options count."""
    whole = {name: car[name] for name in ("make", "model", "year")}
    whole |= {"odometer_km": 61_000.0, "options": ["overdrive"], "history_file": True}
    name = drafts.new_name()
    drafts.keep_sheet(market.path, name, Inspection.start("monocoque", whole, extensions=EXTENSIONS))
    market.keep_settings(Settings(distance_unit="miles").texts())
    page = a_page("mending")
    page.query_params["sheet"] = name
    page.run()
    assert not page.exception
    entered = {
        key: page.session_state[key] for key in ("odometer", "odometer_unit", "options", "history_file")
    }
    assert entered == {
        "odometer": "61000", "odometer_unit": "km", "options": ["overdrive"], "history_file": "yes",
    }  # fmt: skip


def test_mending_is_the_librarys_and_its_fields_move_it(market: Market, car: dict[str, Any]) -> None:
    page = a_page("mending")
    walk = with_sheet(page, market, car)
    at_car(page, car, asking=3000)
    assert not page.exception
    for country in ("GB", "DE"):
        if country != "GB":
            page.selectbox(key="work_country").select(country).run()
        decision = mended(market, car, walk, country)
        for row in decision.goals.iter_rows(named=True):
            assert mending_sentence(row, decision) in said(page).replace("**", "")
    assert "Invented demo figures" in said(page)


def mended(
    market: Market, car: dict[str, Any], walk: Inspection, country: str, quotes: tuple[Quote, ...] = ()
) -> MendOrBuy:
    """What the library says of a car at EUR 3,000."""
    catalogue = Catalogue.open(DEMO_CATALOGUE)
    costs = price_repairs(assess(walk), catalogue, country=country, currency="EUR", quotes=quotes)
    model = load(market)
    bare = car_of(market, car | {"condition_band": None, "condition_score": None})
    at = date.fromisoformat(model.facts["last_date"])
    drawn = simulate(model, inspected(bare, costs.result), at, inspection=costs.result)
    return mend_or_buy(drawn, costs, asking=Decimal(3000))


def test_a_quote_replaces_its_line_on_mend_buy_and_sell(market: Market, car: dict[str, Any]) -> None:
    page = a_page("mending")
    walk = with_sheet(page, market, car)
    at_car(page, car, asking=3000)
    catalogue = Catalogue.open(DEMO_CATALOGUE)
    costs = price_repairs(assess(walk), catalogue, country="GB", currency="EUR")
    job = repair_budget(costs).lines["job"][0]
    page.selectbox(key="quoted_job").select(job).run()
    page.text_input(key="quoted_at").set_value("9.000").run()
    press(page, "Take it")
    quotes = quotes_of({job: Decimal(9000)}, "EUR", catalogue.price_date)
    decision = mended(market, car, walk, "GB", quotes)
    assert goals_sentence(decision) in said(page)
    assert f"{job}=9000" in page.query_params["quotes"]
    other = a_page("buying")
    for name in ("sheet", "quotes"):
        other.query_params[name] = page.query_params[name]
    at_car(other, car, asking=3000)
    quoted = price_repairs(assess(walk), catalogue, country="GB", currency="EUR", quotes=quotes)
    bare = car_of(market, car | {"condition_band": None, "condition_score": None})
    facts = buy_car(
        market, load(market), bare, BuyerTerms("EUR", 0.6), asking=Decimal(3000), inspection=assess(walk),
        costs=quoted,
    )  # fmt: skip
    assert all(sentence in said(other) for sentence in total_sentences(facts))
    plain = buy_car(
        market, load(market), bare, BuyerTerms("EUR", 0.6), asking=Decimal(3000), inspection=assess(walk),
        costs=costs,
    )  # fmt: skip
    assert facts.left is not None and plain.left is not None
    assert facts.left.mid < plain.left.mid


@pytest.mark.parametrize("asked", [1, 9_000_000_000])
def test_an_amount_that_cannot_be_meant_is_refused_with_one_sentence(
    market: Market, car: dict[str, Any], asked: int
) -> None:
    for name in ("position", "buying", "selling"):
        page = settle(at_car(a_page(name), car, asking=asked))
        assert f"Asking price absurd: got {asked}, expected 10 to 250,000,000" in said(page), name
        assert bool(page.metric) == (name != "buying"), name  # it loses the verdict alone


def test_no_code_word_is_read_on_a_page(market: Market, car: dict[str, Any]) -> None:
    full = {
        **car, "options": list(OPTION_CODES), "odometer_km": 98000.0, "history_file": True,
        "matching_numbers": "documented", "drive_side": "right",
    }  # fmt: skip
    for name in ("position", "comparables", "buying", "selling", "mending"):
        page = a_page(name)
        if name in ("buying", "selling", "mending"):
            with_sheet(page, market, full)
        settle(at_car(page, full, asking=5000))
        assert not page.exception
        fields = (*page.metric, *page.selectbox, *page.text_input)
        shown = [said(page), *(part.label for part in fields)]
        for box in (*page.selectbox, *page.multiselect):
            shown += box.options
        for frame in page.dataframe:
            shown += [str(cell) for part in frame.value.columns for cell in frame.value[part]
                      if isinstance(cell, str | bool | list)]  # fmt: skip
            named = json.loads(frame.proto.columns or "{}")
            shown += [str(named.get(part, {}).get("label") or part) for part in frame.value.columns]
        codes = {word for text in shown for word in CODE_WORDS.findall(text)}
        assert not codes, (name, codes)


def test_in_a_currency_of_small_units_the_page_takes_and_refuses_what_the_library_does(
    market: Market, car: dict[str, Any]
) -> None:
    page = at_car(a_page("buying"), car)
    page.selectbox(key="currency").select("JPY").run()
    page.text_input(key="offer_asking").set_value("300,000,000").run()
    terms, asked = BuyerTerms("JPY", 0.6), Decimal(300_000_000)
    facts = buy_car(market, load(market), car_of(market, car), terms, asking=asked)
    assert verdict_sentence(facts) in said(page)
    page.text_input(key="offer_asking").set_value("3000000000000").run()
    assert "Asking price absurd: got 3000000000000, expected 10 to 2,500,000,000,000" in said(page)
    page.text_input(key="offer_asking").set_value("300,000,000").run()
    page.text_input(key="transport").set_value("9000000000000").run()
    assert "Transport absurd: got 9000000000000, expected 0 to 2,500,000,000,000" in said(page)


def test_a_quote_that_cannot_be_meant_is_refused_where_it_is_taken(
    market: Market, car: dict[str, Any]
) -> None:
    page = a_page("mending")
    with_sheet(page, market, car)
    at_car(page, car, asking=3000)
    job = page.selectbox(key="quoted_job").options[0]
    page.selectbox(key="quoted_job").select(job).run()
    page.text_input(key="quoted_at").set_value("9 000 000 000").run()
    (take,) = [button for button in page.button if button.label == "Take it"]
    assert take.disabled
    assert "absurd: got 9000000000, expected 0 to 250,000,000" in said(page)
    assert "quotes" not in page.query_params and page.text_input(key="quoted_at").value == "9 000 000 000"


def test_buying_is_the_librarys_and_its_fields_move_it(market: Market, car: dict[str, Any]) -> None:
    page = at_car(a_page("buying"), car)
    assert "Type the price that is asked" in said(page)
    page = at_car(a_page("buying"), car, asking=5000)
    assert not page.exception
    for certainty in (60, 80):
        page.slider(key="certainty").set_value(certainty).run()
        terms = BuyerTerms("EUR", certainty / 100)
        facts = buy_car(market, load(market), car_of(market, car), terms, asking=Decimal(5000))
        assert page.metric[1].value == f"{facts.walk_away.price:,.0f}"
        told = (
            verdict_sentence(facts), *limit_sentences(facts), *total_sentences(facts),
            *argument_sentences(facts), *alternative_sentences(facts),
        )  # fmt: skip
        assert all(sentence in said(page) for sentence in told)
    page.selectbox(key="other_drive_side").select("left").run()
    wanted = BuyerTerms("EUR", 0.8, wanted=Wanted(drive_side="left"))
    facts = buy_car(market, load(market), car_of(market, car), wanted, asking=Decimal(5000))
    assert all(sentence in said(page) for sentence in alternative_sentences(facts))
    page.selectbox(key="currency").select("GBP").run()
    assert "Type the price that is asked" in said(page)
    page.text_input(key="offer_asking").set_value("4000").run()
    facts = buy_car(market, load(market), car_of(market, car), BuyerTerms("GBP", 0.8), asking=Decimal(4000))
    assert page.metric[1].value == f"{facts.walk_away.price:,.0f}"


def test_selling_is_the_librarys_and_its_fields_move_it(market: Market, car: dict[str, Any]) -> None:
    page = settle(at_car(a_page("selling"), car, asking=5000))
    assert not page.exception
    model = load(market)
    evidence = selling_evidence(market, model)
    for own in (None, Decimal(2500)):
        if own is not None:
            page.text_input(key="own_value").set_value(str(own)).run()
        terms = SellerTerms("EUR", own, asking=Decimal(5000))
        facts = sell_car(market, model, car_of(market, car), terms, evidence=evidence)
        told = (
            *advice_sentences(facts), *(channel_sentence(facts, found) for found in facts.channels),
            *auction_sentences(facts), *first_sentences(facts), unsold_sentence(facts), *facts.unknown,
        )  # fmt: skip
        assert all(sentence in said(page) for sentence in told)
    page.text_input(key="floor").set_value("4.500").run()
    terms = SellerTerms("EUR", Decimal(2500), asking=Decimal(5000), floor=Decimal(4500))
    firm = sell_car(market, model, car_of(market, car), terms, evidence=evidence)
    assert channel_sentence(firm, firm.channels[0]) in said(page)
    ladders = [part.value for part in page.dataframe if {"week", "asking"} <= set(part.value.columns)]
    assert [steps["asking"].to_list()[-1] for steps in ladders] == [4500, 4500]
    assert "The time to sale is unknown" in said(page)
    assert not [chart for chart in page.get("vega_lite_chart") if "Time to sale" in str(chart.proto)]


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
    assert page.metric[1].value == f"{facts.walk_away.price:,.0f}"
    assert facts.repairs is not None and "repairs" not in facts.open_lines
    assert all(sentence in said(page) for sentence in total_sentences(facts))
    page.checkbox(key="use_sheet").uncheck().run()
    facts = buy_car(market, load(market), car_of(market, car), BuyerTerms("EUR", 0.6), asking=Decimal(5000))
    assert page.metric[1].value == f"{facts.walk_away.price:,.0f}"
