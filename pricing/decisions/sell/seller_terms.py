"""The terms of a sale: what the seller states, and what is charged on each channel, off the price, exact to
the minor unit."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Floats
from pricing.decisions.amounts import from_thousandths, in_thousandths
from pricing.errors import DecisionError
from pricing.money.charge_draws import charge_on, hammer_within, in_units
from pricing.money.charges import Charge, Schedule
from pricing.records.entered_amounts import entered

DISCOUNT: Final = 0.01
"""What money a month later is worth less, where the owner does not say how soon it is wanted: convention."""

MOST_DISCOUNT: Final = 0.5


@dataclass(frozen=True)
class SellerTerms:
    """What the seller states; amounts in ``currency``. None: not said.

    Args:
        own_value: what the car is worth to its owner unsold; without it, an unsold car is offered on.
        reserve, low_estimate, high_estimate: hammer prices proposed at an auction.
        asking: the price asked on the other channels; without it, the one that leaves most is looked for.
        floor: the lowest price asked in the end, which is then kept to; without it, 10 % under the mid price
            is asked in the end, and less is taken.
        bidders: of an auction; see ``auction``.
        papers: what each paper of ``what_ifs.PAPERS`` would cost to get.
        discount: the share by which money a month later is worth less: how soon it is wanted.

    Raises:
        MoneyError: an amount cannot be meant.
        DecisionError: amounts contradict each other, or the discount is none.
    """

    currency: str
    own_value: Decimal | None = None
    reserve: Decimal | None = None
    low_estimate: Decimal | None = None
    high_estimate: Decimal | None = None
    asking: Decimal | None = None
    floor: Decimal | None = None
    bidders: int | None = None
    papers: Mapping[str, Decimal] = field(default_factory=dict)
    discount: float = DISCOUNT

    def __post_init__(self) -> None:
        """Refuse what makes no sense together."""
        entered("worth unsold", self.own_value, self.currency, cost=True)
        for name in ("reserve", "low_estimate", "high_estimate"):
            entered(name.replace("_", " "), getattr(self, name), self.currency)
        entered("asking price", self.asking, self.currency)
        entered("lowest price", self.floor, self.currency)
        for name, cost in self.papers.items():
            entered(f"cost of {name}", cost, self.currency, cost=True)
        if not 0.0 <= self.discount <= MOST_DISCOUNT:
            raise DecisionError(
                f"the discount a month is a share from 0 to {MOST_DISCOUNT}; got {self.discount}"
            )
        low, high, reserve = self.low_estimate, self.high_estimate, self.reserve
        if low is not None and high is not None and low > high:
            raise DecisionError(f"the low estimate of {low} is above the high estimate of {high}")
        if reserve is not None and high is not None and reserve > high:
            raise DecisionError(
                f"the reserve of {reserve} is above the high estimate of {high}: "
                "by custom it is at or below the low estimate"
            )
        if self.floor is not None and self.asking is not None and self.floor > self.asking:
            raise DecisionError(
                f"the lowest price of {self.floor} is above the asking price of {self.asking}"
            )


KINDS: Final = ("commission", "entry fee", "unsold fee")


@dataclass(frozen=True, eq=False)
class Charged:
    """A price in each draw and what is charged on it, in one currency: what the buyer has ``paid``, the
    ``hammer`` price (or price) on which all is reckoned, the seller's charges, and ``net``, which is the
    hammer price less commission and entry fee."""

    paid: Floats
    hammer: Floats
    commission: Floats
    entry_fee: Floats
    unsold_fee: Floats
    net: Floats


@dataclass(frozen=True)
class SaleTerms:
    """What is charged on one channel, in ``currency``; None: not said, and nothing is taken off."""

    channel: str
    currency: str
    premium: Charge | None
    commission: Charge | None
    entry_fee: Charge | None
    unsold_fee: Charge | None

    @classmethod
    def in_force(cls, schedule: Schedule | None, channel: str, on: date, currency: str) -> "SaleTerms":
        """The charges of a schedule on a day.

        Raises:
            MoneyError: the schedule has a gap there, or is in another currency.
        """
        charges_in_force = [
            None if schedule is None else schedule.in_force(channel, kind, on, currency)
            for kind in ("premium", *KINDS)
        ]
        return cls(channel, currency, *charges_in_force)

    def lines(self, prices: Sequence[Decimal]) -> pl.DataFrame:
        """For each hammer price, or price paid: ``price``, ``commission``, ``entry fee`` and ``net``, which
        is the first less the others; null where nothing was said.

        >>> SaleTerms("private", "EUR", None, None, None, None).lines([Decimal(900)])["net"].to_list()
        [Decimal('900.00')]
        """
        frame = pl.DataFrame({"price": in_thousandths(prices, self.currency)}).with_columns(
            (pl.lit(None, dtype=pl.Int128) if charge is None else charge.on(pl.col("price"))).alias(name)
            for name, charge in (("commission", self.commission), ("entry fee", self.entry_fee))
        )
        taken = pl.col("commission").fill_null(0) + pl.col("entry fee").fill_null(0)
        return frame.with_columns(net=pl.col("price") - taken).select(
            from_thousandths(("price", "commission", "entry fee", "net"), self.currency)
        )

    def hammer(self, all_in: Floats) -> Floats:
        """The price that stands at the head of ``lines`` when a buyer pays so much all-in at most, in whole
        smallest units; nought where the least premium alone is more."""
        if self.premium is None:
            return in_units(all_in, self.currency)
        return hammer_within(self.premium, all_in)

    def charged(self, prices: Floats) -> Charged:
        """What is charged on many hammer prices (or prices) at once.

        >>> SaleTerms("private", "EUR", None, None, None, None).charged(np.array([900.0])).net.tolist()
        [900.0]
        """
        premium, commission, entry, unsold = (
            np.zeros(prices.shape) if charge is None else charge_on(charge, prices)
            for charge in (self.premium, self.commission, self.entry_fee, self.unsold_fee)
        )
        return Charged(prices + premium, prices, commission, entry, unsold, prices - commission - entry)

    @property
    def open_lines(self) -> tuple[str, ...]:
        """Charges that nothing was said about."""
        charges = {"commission": self.commission, "entry fee": self.entry_fee}
        if self.channel == "auction":
            charges |= {"premium": self.premium, "unsold fee": self.unsold_fee}
        return tuple(name for name, charge in charges.items() if charge is None)
