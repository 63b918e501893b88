"""What a sale leaves: commission and fees off the price, to the smallest unit."""

from datetime import date
from decimal import Decimal

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.decisions.sell.seller_terms import SaleTerms
from pricing.errors import MoneyError
from pricing.money.charges import Charge, Schedule, Tier

START = date(2026, 1, 1)


def charge(kind: str, rate: str, minimum: int = 0, tax: str = "0", currency: str = "EUR") -> Charge:
    return Charge("auction", kind, START, currency, (Tier(Decimal(rate)),), Decimal(tax), Decimal(minimum))


@st.composite
def sale_terms(draw: st.DrawFn) -> SaleTerms:
    currency = draw(st.sampled_from(["EUR", "JPY", "KWD"]))

    def some(kind: str) -> Charge | None:
        made = charge(
            kind,
            str(draw(st.decimals("0", "0.3", places=4))),
            draw(st.integers(0, 500)),
            str(draw(st.decimals("0", "0.3", places=3))),
            currency,
        )
        return draw(st.none() | st.just(made))

    return SaleTerms(
        "auction", currency, *(some(kind) for kind in ("premium", "commission", "entry fee", "unsold fee"))
    )


@settings(max_examples=60)
@given(sale_terms(), st.lists(st.decimals(1, 300_000, places=2), min_size=1, max_size=20))
def test_price_is_commission_fee_and_net_to_the_smallest_unit(
    terms: SaleTerms, prices: list[Decimal]
) -> None:
    for row in terms.lines(prices).iter_rows(named=True):
        assert row["net"] + (row["commission"] or 0) + (row["entry fee"] or 0) == row["price"]
    asked = terms.lines(prices)
    charged = terms.charged(asked["price"].cast(pl.Float64).to_numpy())
    assert charged.net.tolist() == pytest.approx(asked["net"].cast(pl.Float64).to_list())
    assert (charged.net <= charged.paid - charged.commission - charged.entry_fee + 1e-6).all()


def test_by_hand() -> None:
    terms = SaleTerms(
        "auction", "EUR", charge("premium", "0.2"), charge("commission", "0.1", tax="0.2"),
        charge("entry fee", "0", 100), charge("unsold fee", "0.02", 75),
    )  # fmt: skip
    assert terms.hammer(np.array([12_000.0])).tolist() == [10_000.0]
    row = terms.lines([Decimal(10_000)]).row(0, named=True)
    assert (row["commission"], row["entry fee"], row["net"]) == (1200, 100, 8700)
    charged = terms.charged(np.array([10_000.0, 1_000.0]))
    assert charged.unsold_fee.tolist() == [200.0, 75.0]
    assert charged.paid.tolist() == [12_000.0, 1_200.0]
    assert charged.net[0] == 8700
    assert terms.open_lines == ()


def test_what_was_not_said_is_named_and_nothing_is_taken_off() -> None:
    terms = SaleTerms.in_force(None, "dealer", START, "EUR")
    assert terms.open_lines == ("commission", "entry fee")
    assert terms.lines([Decimal(900)])["net"].to_list() == [900]


def test_a_gap_in_the_schedule_is_an_error_and_no_number() -> None:
    ended = Charge(**vars(charge("commission", "0.1")) | {"valid_until": date(2026, 3, 31)})
    again = Charge(**vars(charge("commission", "0.1")) | {"valid_from": date(2026, 6, 1)})
    schedule = Schedule("rates", "", False, (ended, again))
    assert SaleTerms.in_force(schedule, "auction", date(2026, 3, 31), "EUR").commission == ended
    with pytest.raises(
        MoneyError, match="in force on 2026-04-01; they run from 2026-01-01 to 2026-03-31; from 2026"
    ):
        SaleTerms.in_force(schedule, "auction", date(2026, 4, 1), "EUR")
    with pytest.raises(MoneyError, match="the commission of 'auction' is in EUR, the price in GBP"):
        SaleTerms.in_force(schedule, "auction", date(2026, 7, 1), "GBP")
