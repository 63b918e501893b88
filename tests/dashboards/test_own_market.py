"""A market of one's own, of 200 rows: library, commands and pages give one set of numbers, and none that
contradicts another."""

import json
from decimal import Decimal
from typing import Any

import pytest
from typer.testing import CliRunner

from pricing.cli.main import app
from pricing.decisions.buy.alternatives import LEAST_USED
from pricing.decisions.buy.buying import BuyerTerms, Buying, buy_car
from pricing.decisions.sell.seller_terms import SellerTerms
from pricing.decisions.sell.selling import sell_car
from pricing.decisions.sell.selling_evidence import selling_evidence
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.model.saved import load, save
from pricing.snapshot import Snapshot
from pricing.store.market import Market
from pricing.words.approaches import difference_sentence
from pricing.words.buying import alternative_sentences
from pricing.words.sentences import money_words
from tests.cars import car_of
from tests.dashboards.pages import a_page, at_car, said, settle
from tests.small_market import common_car, write_sales

ASKED = Decimal(4650)


@pytest.fixture(scope="module")
def own_market(tmp_path_factory: pytest.TempPathFactory) -> Market:
    """200 rows, loaded and fitted."""
    folder = tmp_path_factory.mktemp("own")
    write_sales(folder / "own.parquet", 200)
    market = Market.open(folder / "own.duckdb")
    market.load([folder / "own.parquet"])
    save(PriceModel(FeatureSpec.cars()).fit(market.sales()), market)
    return market


@pytest.fixture
def own(own_market: Market, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Its common car, offered privately, and the market as that of the pages."""
    monkeypatch.setenv("PRICING_MARKET", str(own_market.path))
    return {**common_car(own_market), "channel": "private"}


def typed(market: Market, command: str, car: dict[str, Any], *words: object) -> str:
    """What a command prints of a car."""
    options = [word for option in car["options"] for word in ("--option", option)]
    for name, value in car.items():
        if name != "options" and value is not None:
            options += [f"--{name.replace('_', '-').removesuffix('-km')}", str(value)]
    done = CliRunner().invoke(
        app, [command, *options, *map(str, words), "--market", str(market.path)], env={"COLUMNS": "300"}
    )
    assert done.exit_code == 0, done.output
    return done.stdout


def bought(market: Market, car: dict[str, Any], asking: Decimal = ASKED, certainty: float = 0.6) -> Buying:
    snapshot = Snapshot.of(market)
    return buy_car(
        market, load(market), car_of(market, car), BuyerTerms("EUR", certainty), asking=asking,
        indexed=snapshot.comparables_index,
    )  # fmt: skip


def test_the_same_money_elsewhere_is_the_price_asked_at_every_door(
    own_market: Market, own: dict[str, Any]
) -> None:
    """It was the walk-away price, so that cars at a tenth of the price stood there."""
    for certainty in (0.6, 0.95):  # what is bid to be surer changes nothing of what the money buys
        others = bought(own_market, own, certainty=certainty).alternatives
        at_price = others.filter(at="the price asked")
        assert at_price.height and set(at_price["budget"]) == {float(ASKED)}
        assert at_price["mid"].is_between(LEAST_USED * float(ASKED), float(ASKED)).all()
    told = json.loads(typed(own_market, "buy", own, "--asking", ASKED, "--certainty", 0.95, "--json"))
    rows = [row for row in told["alternatives"] if row["at"] == "the price asked"]
    assert [row["mid"] for row in rows] == at_price["mid"].to_list()
    page = at_car(a_page("buying"), own, asking=int(ASKED))
    page.slider(key="certainty").set_value(95).run()
    facts = bought(own_market, own, certainty=0.95)
    assert all(sentence in said(page) for sentence in alternative_sentences(facts))
    assert f"For the price asked ({money_words(ASKED, 'EUR')}): " in said(page)


def test_two_approaches_stand_nowhere_without_the_bridge_between_them(
    own_market: Market, own: dict[str, Any]
) -> None:
    facts = bought(own_market, own)
    assert facts.approaches is not None
    bridge = difference_sentence(facts.approaches)
    assert bridge in " ".join(typed(own_market, "buy", own, "--asking", ASKED, "--certainty", 0.6).split())
    assert bridge in " ".join(typed(own_market, "comparables", own).split())
    told = json.loads(typed(own_market, "comparables", own, "--json"))
    assert told["difference"]["ratio"] == facts.approaches.ratio
    for name in ("position", "comparables", "buying"):
        page = settle(at_car(a_page(name), own, asking=int(ASKED)))
        assert bridge in said(page), name


def test_selling_never_leaves_more_than_is_paid_and_no_price_asked_caps_an_auction(
    own_market: Market, own: dict[str, Any]
) -> None:
    model, car = load(own_market), car_of(own_market, own)
    evidence = selling_evidence(own_market, model)
    plain, asked = (
        sell_car(own_market, model, car, SellerTerms("EUR", asking=asking), evidence=evidence)
        for asking in (None, Decimal(4000))
    )
    for facts in (plain, asked):
        for channel in facts.channels:
            if channel.net is not None and channel.paid is not None:
                assert channel.net.low <= channel.paid.low and channel.net.high <= channel.paid.high
    auctions = [next(one for one in facts.channels if one.channel == "auction") for facts in (plain, asked)]
    assert auctions[0].net == auctions[1].net
    told = json.loads(typed(own_market, "sell", own, "--asking", 4000, "--json"))
    (shown,) = [one for one in told["channels"] if one["channel"] == "auction"]
    assert auctions[1].net is not None and shown["net"]["mid"] == str(auctions[1].net.mid)


def test_where_few_offers_tell_how_long_a_sale_takes_the_page_says_so_and_draws_nothing(
    own_market: Market, own: dict[str, Any]
) -> None:
    model = load(own_market)
    facts = sell_car(
        own_market, model, car_of(own_market, own), SellerTerms("EUR", asking=ASKED),
        evidence=selling_evidence(own_market, model),
    )  # fmt: skip
    page = settle(at_car(a_page("selling"), own, asking=int(ASKED)))
    waits = [chart for chart in page.get("vega_lite_chart") if "Time to sale" in str(chart.proto)]
    assert facts.unknown and not waits
    assert all(sentence in said(page) for sentence in facts.unknown)
