"""The law of an auction, draw by draw."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.decisions.sell.auction import Bidding, values_share
from pricing.errors import DecisionError

TOP = np.random.default_rng(0).random(2000)
HAMMER = np.exp(np.random.default_rng(1).normal(8.5, 0.3, 2000))


@given(st.none() | st.integers(2, 50), st.floats(0.0, 20_000.0), st.floats(0.0, 5000.0))
def test_a_lot_sells_only_at_or_above_its_reserve_and_a_higher_one_never_sells_more(
    bidders: int | None, reserve: float, more: float
) -> None:
    bidding = Bidding.drawn(HAMMER, bidders, TOP)
    assert (bidding.highest >= bidding.second).all()
    sold = bidding.sold(reserve)
    assert (bidding.hammer(reserve)[sold] >= reserve).all()
    assert (bidding.hammer(reserve)[sold] <= np.maximum(bidding.highest[sold], reserve)).all()
    assert (bidding.sold(reserve + more) <= sold).all()
    assert bidding.sold([reserve, reserve + more]).shape == (2, 2000)


def test_without_a_word_of_the_room_a_reserve_raises_nothing() -> None:
    bidding = Bidding.drawn(HAMMER, None, TOP)
    assert (bidding.hammer(9000.0) == HAMMER).all()


@pytest.mark.parametrize("bidders", [0, 1, 51])
def test_a_room_that_is_none_is_refused(bidders: int) -> None:
    with pytest.raises(DecisionError, match=f"bidders: expected 2 to 50; got {bidders}"):
        Bidding.drawn(HAMMER, bidders, TOP)


def test_the_law_of_one_value_comes_back_from_that_of_the_second_highest() -> None:
    values = np.linspace(0.01, 0.99, 50)
    for bidders in (2, 3, 10):
        second = bidders * values ** (bidders - 1) - (bidders - 1) * values**bidders
        assert values_share(second, bidders) == pytest.approx(values, abs=2e-3)
