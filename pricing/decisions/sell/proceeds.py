"""What a sale leaves the seller, channel by channel: commission and fees off the price, exact to the minor
unit."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Floats
from pricing.decisions.amounts import whole_units
from pricing.money.charge_draws import charge_on, hammer_within, in_units
from pricing.money.charges import Charge, Schedule
from pricing.money.currencies import minor_unit_places

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
        scaled = [int(whole_units(price, self.currency).scaleb(3)) for price in prices]
        frame = pl.DataFrame({"price": pl.Series(scaled, dtype=pl.Int128)}).with_columns(
            (pl.lit(None, dtype=pl.Int128) if charge is None else charge.on(pl.col("price"))).alias(name)
            for name, charge in (("commission", self.commission), ("entry fee", self.entry_fee))
        )
        taken = pl.col("commission").fill_null(0) + pl.col("entry fee").fill_null(0)
        money = pl.Decimal(38, minor_unit_places(self.currency))
        return frame.with_columns(net=pl.col("price") - taken).select(
            (pl.col(name).cast(pl.Decimal(38, 3)) / 1000).cast(money)
            for name in ("price", "commission", "entry fee", "net")
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

    @property
    def days(self) -> str:
        """Which charges are in force from which day."""
        used = [c for c in (self.premium, self.commission, self.entry_fee, self.unsold_fee) if c is not None]
        return ", ".join(f"{charge.kind} in force from {charge.valid_from}" for charge in used)
