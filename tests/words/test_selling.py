"""Words and charts of selling."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import polars as pl
import pytest

from pricing.charts.selling import (
    proceeds_chart,
    reserve_chart,
    waiting_chart,
)
from pricing.model.saved import load
from pricing.store.market import Market
from pricing.words.selling import (
    auction_sentences,
    first_sentences,
    pace_sentence,
    selling_sentences,
    waiting_sentences,
    what_if_sentence,
)
from tests.decisions.test_selling import KNOWN, NOTHING, sold


@pytest.fixture(scope="module")
def model(small_market: Market) -> Any:
    return load(small_market)


def test_the_words_say_channel_reserve_and_what_was_not_taken_off(small_market: Market, model: Any) -> None:
    facts = sold(small_market, model, own_value=Decimal(2000), reserve=Decimal(900_000))
    words = " ".join(selling_sentences(facts))
    assert "Auction: no sale comes about on these terms" in words
    assert words.startswith("Sell ") and "expect EUR" in words
    assert "With a reserve of EUR 900,000 0% of such lots sell" in words
    assert "Nothing taken off for: entry fee" in words
    assert "Example figures, invented" in words
    estimated = sold(small_market, model, reserve=Decimal(5000), low_estimate=Decimal(4000))
    assert "a reserve of EUR 5,000 asks for a higher one" in " ".join(auction_sentences(estimated))


def test_what_to_do_first_has_an_answer(small_market: Market, model: Any) -> None:
    facts = sold(small_market, model, papers={"numbers documented": Decimal(90_000)})
    assert any("Leave: numbers documented" in words for words in first_sentences(facts))
    cheap = sold(small_market, model, papers={"numbers documented": Decimal(1)})
    (said,) = [words for words in first_sentences(cheap) if "numbers documented" in words]
    assert "cars that have it bring" in said and "whether the paper is the reason is not known" in said
    row = cheap.first.filter(cheap.first["item"] == "numbers documented").row(0, named=True)
    compared = what_if_sentence(cheap, row | {"supported": True, "pairs": 11})
    assert "it brings" in compared and "11 cars sold before and after say so" in compared


def test_unknown_is_said(small_market: Market, model: Any) -> None:
    words = selling_sentences(sold(small_market, model, NOTHING))
    assert sum("unknown" in sentence for sentence in words) >= 5
    assert "in how long is not known" in words[0] or "weeks" in words[0]


def test_charts_are_drawn_from_the_facts(small_market: Market, model: Any) -> None:
    facts = sold(small_market, model, own_value=Decimal(2000))
    assert len(next(iter(proceeds_chart(facts).to_dict()["datasets"].values()))) == 6
    assert "reserve" in str(reserve_chart(facts).to_dict())
    assert "12 weeks" in str(waiting_chart(facts, "private").to_dict())


def test_a_price_that_made_no_difference_is_said(small_market: Market, model: Any) -> None:
    waits = pl.DataFrame({"days": [20.0, 70.0, 90.0], "share": [0.8, 0.5, 0.2]})
    words = waiting_sentences(sold(small_market, model, replace(KNOWN, waits=waits, slower=0.4)))
    assert words[0].startswith("Half the cars on record were sold within 10 weeks")
    assert "(p = 0.40), so the steps advised below are those customary" in words[1]
    assert len(waiting_sentences(sold(small_market, model, replace(KNOWN, waits=waits, slower=0.01)))) == 2


def test_the_error_of_the_mid_prices_is_allowed_for_or_said() -> None:
    assert KNOWN.times is not None
    told = pace_sentence(KNOWN.times)
    assert "A price 10% higher takes 33% longer to sell" in told and "(without that 12%)" in told
    untold = pace_sentence(replace(KNOWN.times, elasticity=1.2, corrected=False))
    assert "at least 12% longer" in untold and "cannot tell" in untold and "some 20%" in untold
