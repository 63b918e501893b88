"""Buyer, seller and valuer in a market without a single sale: everything works, and bears the mark."""

from decimal import Decimal
from pathlib import Path

import pytest

from pricing.car import Car
from pricing.car_names import Names
from pricing.decisions.buy.buying import BuyerTerms, buy_car
from pricing.decisions.sell.seller_terms import SellerTerms
from pricing.decisions.sell.selling import sell_car
from pricing.decisions.sell.selling_evidence import selling_evidence
from pricing.decisions.valuation import value_car
from pricing.errors import CarError
from pricing.market import Market
from pricing.model.market_fit import fit_market
from pricing.model.saved import load, save
from pricing.words.opinions import OPINION_ALONE, ground_sentence
from tests.opinion_market import opinion_market

CAR = {"make": "corvane", "model": "SIX", "year": 1966, "condition_band": "average"}


@pytest.fixture(scope="module")
def market(tmp_path_factory: pytest.TempPathFactory) -> Market:
    market = opinion_market(Path(tmp_path_factory.mktemp("alone")) / "market.duckdb")
    save(fit_market(market), market)
    return market


def car(market: Market, **said: object) -> Car:
    return Car.checked(CAR | said, known=Names.of(market.sales(), market.opinions()))


def test_a_valuation_gives_the_stated_band_and_says_what_it_is(market: Market) -> None:
    found = value_car(market, load(market), car(market), asking=Decimal(4000))
    assert (found.low, found.high) == (Decimal("3000.00"), Decimal("5000.00"))
    assert found.opinion_alone and found.standing is not None and 0.5 < found.standing < 0.6
    assert found.remark is not None and "not brought to another day, for there is no index" in found.remark
    said = ground_sentence(found)
    assert said is not None and said.startswith(OPINION_ALONE)
    assert "4 opinions of 2026 by one source" in said
    assert found.opinions["source"].to_list() == ["A. Rowe"] * 4 and found.sales.is_empty()
    assert found.terms["factor"].product() == pytest.approx(float(found.mid or 0), rel=1e-4)
    assert found.bands["reason"].null_count() == 4


def test_a_state_that_nobody_spoke_of_and_a_car_not_graded_get_no_range(market: Market) -> None:
    ungraded = value_car(market, load(market), car(market, condition_band=None))
    assert (
        ungraded.mid is None and ungraded.reason is not None and "by the state of the car" in ungraded.reason
    )
    assert ground_sentence(ungraded) is None


def test_between_the_middles_of_two_bands_the_price_is_between_theirs(market: Market) -> None:
    model = load(market)
    mids = [
        float(value_car(market, model, car(market, condition_band=None, condition_score=score)).mid or 0)
        for score in (62.5, 70.0, 80.0, 87.5)
    ]
    assert mids == sorted(mids) and mids[0] == pytest.approx(3872.98) and mids[-1] == pytest.approx(8944.27)


def test_a_buyer_gets_a_limit_with_the_mark(market: Market) -> None:
    terms = BuyerTerms(currency="EUR", certainty=0.6)
    found = buy_car(market, load(market), car(market), terms, asking=Decimal(4500))
    assert found.valuation.opinion_alone and found.gap is None
    assert found.walk_away.price is not None and 3000 < found.walk_away.price < Decimal(3873)


def test_a_seller_gets_proceeds_with_the_mark_and_nothing_of_time(market: Market) -> None:
    model = load(market)
    evidence = selling_evidence(market, model)
    found = sell_car(market, model, car(market), SellerTerms("EUR"), evidence=evidence)
    assert found.valuation.opinion_alone and len(found.channels) == 3
    assert any("time to sale is unknown" in sentence for sentence in found.unknown)


def test_a_car_that_nobody_spoke_of_is_refused_as_everywhere(market: Market) -> None:
    with pytest.raises(CarError, match="no record of the model 'Eight' of Corvane"):
        car(market, model="Eight")
