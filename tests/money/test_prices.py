"""Every basis becomes the all-in price, or a named reason why not."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import polars as pl
import pytest

from pricing.money.charges import Charge, Tier
from pricing.money.prices import price_records

ROW: dict[str, Any] = {
    "source": "hall", "channel": "auction", "outcome": "sold", "price_basis": "hammer", "currency": "GBP",
    "event_date": date(2024, 5, 2), "amount": Decimal(10_000), "premium": None, "highest_bid": None,
    "reserve": None, "low_estimate": None,
}  # fmt: skip
MONEY = pl.Decimal(18, 3)
TERMS = (
    Charge("hall", "premium", date(2019, 1, 1), "GBP", (Tier(Decimal("0.10")),)),
    Charge("hall", "premium", date(2024, 1, 1), "GBP", (Tier(Decimal("0.15")),), Decimal("0.2")),
    Charge("hall", "commission", date(2019, 1, 1), "GBP", (Tier(Decimal("0.08")),)),
)


def priced(*charges: Charge, base: str = "GBP", **changes: Any) -> dict[str, Any]:
    """One record priced."""
    money = dict.fromkeys(("amount", "premium", "highest_bid", "reserve", "low_estimate"), MONEY)
    return price_records(pl.DataFrame([ROW | changes], schema_overrides=money), base, charges).row(
        0, named=True
    )


@pytest.mark.parametrize(
    ("changes", "price"),
    [
        ({}, "11800.00"),  # 10,000 + 1,500 and a fifth of that in tax
        ({"event_date": date(2023, 12, 31)}, "11000.00"),
        ({"premium": Decimal("900.50")}, "10900.50"),
        ({"price_basis": "all-in"}, "10000.00"),
        ({"price_basis": "net", "amount": Decimal(9200)}, "11800.00"),  # 10,000 less 8 % leaves 9,200
        ({"price_basis": "net", "channel": "private", "source": "notes"}, "10000.00"),
        ({"channel": "dealer", "source": "notes"}, "10000.00"),
        ({"outcome": "asking", "price_basis": "asking", "channel": "dealer"}, "10000.00"),
        ({"outcome": "withdrawn", "price_basis": "asking"}, None),
        ({"outcome": "unsold", "amount": None}, None),
    ],
)
def test_every_basis_comes_to_the_all_in_price(changes: dict[str, Any], price: str | None) -> None:
    row = priced(*TERMS, **changes)
    assert row["unpriced"] is None
    assert (None if row["price"] is None else str(row["price"])) == price


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"source": "other"}, "premium_unknown"),
        ({"event_date": date(2018, 12, 31)}, "premium_unknown"),
        ({"currency": "EUR"}, "premium_unknown"),
        ({"source": "other", "price_basis": "net"}, "commission_unknown"),
        ({"currency": "DEM", "price_basis": "all-in"}, "rate_unknown"),
    ],
)
def test_what_cannot_be_priced_says_why(changes: dict[str, Any], reason: str) -> None:
    row = priced(*TERMS, **changes)
    assert (row["unpriced"], row["price"]) == (reason, None)


def test_a_schedule_that_has_ended_prices_nothing_after_its_last_day() -> None:
    ended = replace(TERMS[1], valid_until=date(2024, 5, 1))
    assert str(priced(*TERMS[:1], ended, event_date=date(2024, 5, 1))["price"]) == "11800.00"
    assert priced(*TERMS[:1], ended)["unpriced"] == "premium_unknown"
    assert (
        priced(*TERMS[:2], replace(TERMS[2], valid_until=date(2024, 5, 1)), price_basis="net")["unpriced"]
        == "commission_unknown"
    )


def test_an_unsold_lot_whose_premium_is_not_known_is_a_record_without_bounds() -> None:
    row = priced(*TERMS, source="other", outcome="unsold", amount=None, reserve=Decimal(9000))
    assert (row["unpriced"], row["lower_price"], row["upper_price"]) == (None, None, None)


def test_an_unsold_lot_bounds_the_price_from_both_sides() -> None:
    lot: dict[str, Any] = {
        "outcome": "unsold",
        "amount": None,
        "highest_bid": Decimal(8000),
        "low_estimate": Decimal(10_000),
    }
    row = priced(*TERMS, **lot)
    assert (str(row["lower_price"]), str(row["upper_price"]), row["price"]) == ("9440.00", "11800.00", None)
    assert str(priced(*TERMS, **lot, reserve=Decimal(9000))["upper_price"]) == "10620.00"
    assert priced(*TERMS, **lot | {"highest_bid": Decimal(12_000)})["upper_price"] is None


def test_the_rate_is_that_of_the_day_and_its_date_is_kept() -> None:
    row = priced(price_basis="all-in", base="EUR", event_date=date(2024, 5, 4))
    assert (str(row["price"]), row["rate_date"]) == ("11685.93", date(2024, 5, 3))  # 0.85573 on the Friday
