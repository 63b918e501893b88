from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.decisions.buy.day_one import DayOneTerms, bidding_table, bids_up_to, hammer_for
from pricing.errors import DecisionError
from pricing.money.charges import Charge, Tier

PREMIUM = Charge(
    "auction", "premium", date(2026, 1, 1), "GBP",
    (Tier(Decimal("0.15"), Decimal(5000)), Tier(Decimal("0.1"))),
    Decimal("0.2"), Decimal(100),
)  # fmt: skip
TERMS = DayOneTerms("GBP", premium=PREMIUM)


@settings(max_examples=40)
@given(st.decimals(1, 500_000, places=2))
def test_every_bid_leads_to_its_all_in_price_and_back(limit: Decimal) -> None:
    table = bidding_table(TERMS, limit)
    bids = table["price"].to_list()
    assert bids == sorted(set(bids))
    assert all(bid <= limit for bid in bids)
    back = hammer_for(PREMIUM, table["all_in"].to_list(), "GBP")
    assert back["price"].to_list() == bids
    assert (table["price"] + table["premium"] == table["all_in"]).all()
    assert table["left"].to_list() == [limit - bid for bid in bids]


def test_premium_by_hand() -> None:
    # 6,000: 15 % of 5,000 and 10 % of 1,000 is 850, with a fifth of tax 1,020
    row = bidding_table(TERMS, Decimal(6000), step=Decimal(1000), start=Decimal(6000)).row(0, named=True)
    assert (row["price"], row["premium"], row["all_in"]) == (6000, 1020, 7020)


def test_an_all_in_amount_below_the_least_premium_allows_no_bid() -> None:
    assert hammer_for(PREMIUM, [Decimal(100)], "GBP")["price"].to_list() == [None]


def test_no_limit_makes_no_table() -> None:
    assert bidding_table(TERMS, Decimal(0)).is_empty()


def test_steps_that_make_no_sense_are_refused() -> None:
    with pytest.raises(DecisionError, match="above nought; got 0"):
        bids_up_to(Decimal(100), step=Decimal(0))
    with pytest.raises(DecisionError, match="take a longer step than 1"):
        bids_up_to(Decimal(100_000), step=Decimal(1))
