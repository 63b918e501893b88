"""Amounts of money: in the currency of an offer, brought to the market's base currency and back at a date,
and as low, mid and high of draws: what one time in ten stays below, half, and nine times in ten."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Floats
from pricing.errors import MoneyError
from pricing.money.currencies import minor_unit_places, with_rates


@dataclass(frozen=True)
class Conversion:
    """Between ``currency`` and ``base`` at the rate of ``rate_date``; ``units`` and ``base_units`` are what
    one euro buys of either, in millionths."""

    currency: str
    base: str
    rate_date: date
    units: int
    base_units: int

    @classmethod
    def at(cls, currency: str, base: str, on: date, own_rates: pl.DataFrame | None = None) -> "Conversion":
        """The last rate known on a day: of the European Central Bank, else of ``own_rates``.

        Raises:
            MoneyError: the code is no currency, or there is no rate on that day.

        >>> Conversion.at("USD", "EUR", date(2013, 3, 21)).to_base(Decimal("129.10"))
        Decimal('100.00')
        """
        minor_unit_places(currency)
        rate_wanted = pl.DataFrame({"currency": [currency], "event_date": [on]})
        row = with_rates(rate_wanted, base, own_rates).row(0, named=True)
        if row["units"] is None:
            raise MoneyError(
                f"no rate from {currency} to {base} on {on}: add one of your own with `pricing rates`"
            )
        return cls(currency, base, row["rate_date"], row["units"], row["base_units"])

    @property
    def rate(self) -> Decimal:
        """Units of ``currency`` for one of ``base``."""
        return Decimal(self.units) / Decimal(self.base_units)

    def to_base(self, amount: Decimal) -> Decimal:
        """An amount of ``currency`` in ``base``, half up to its smallest unit."""
        return whole_units(amount * self.base_units / self.units, self.base)

    def from_base(self, amount: Decimal, *, down: bool = False) -> Decimal:
        """An amount of ``base`` in ``currency``, half up to its smallest unit or, for a limit, down."""
        return whole_units(amount * self.units / self.base_units, self.currency, down=down)


def in_thousandths(amounts: Sequence[Decimal], currency: str) -> pl.Series:
    """Amounts in whole smallest units, as the whole thousandths that charges are reckoned in."""
    return pl.Series([int(whole_units(amount, currency).scaleb(3)) for amount in amounts], dtype=pl.Int128)


def from_thousandths(names: Iterable[str], currency: str) -> list[pl.Expr]:
    """Columns of thousandths as amounts of a currency."""
    money = pl.Decimal(38, minor_unit_places(currency))
    return [(pl.col(name).cast(pl.Decimal(38, 3)) / 1000).cast(money) for name in names]


def whole_units(amount: Decimal, currency: str, *, down: bool = False) -> Decimal:
    """An amount in whole smallest units of its currency, half up or down.

    >>> whole_units(Decimal("10.005"), "EUR"), whole_units(Decimal("10.9"), "JPY", down=True)
    (Decimal('10.01'), Decimal('10'))
    """
    step = Decimal(1).scaleb(-minor_unit_places(currency))
    return amount.quantize(step, ROUND_FLOOR if down else ROUND_HALF_UP)


def three_figures(amount: Decimal) -> Decimal:
    """An amount as a person would say it: three figures, never more than the amount.

    >>> three_figures(Decimal("12378.20")), three_figures(Decimal("987.6"))
    (Decimal('12300'), Decimal('987'))
    """
    step = Decimal(1).scaleb(max(amount.adjusted() - 2, 0)) if amount > 0 else Decimal(1)
    return Decimal(int((amount / step).to_integral_value(ROUND_FLOOR) * step))


ENDS: Final = (0.1, 0.5, 0.9)


def quantiles(draws: Floats, levels: float | tuple[float, ...] = ENDS) -> Floats:
    """Quantiles of draws, each draw in the middle of its share (Hazen 1914): those of a distribution's own
    levels give its quantiles back.

    >>> float(quantiles(np.arange(4.0), 0.5))
    1.5
    """
    return np.asarray(np.quantile(draws, levels, method="hazen"))


@dataclass(frozen=True)
class Range:
    """An uncertain amount: ``low`` <= ``mid`` <= ``high``, to the smallest unit of its currency."""

    low: Decimal
    mid: Decimal
    high: Decimal

    @classmethod
    def of(cls, draws: Floats, currency: str) -> "Range":
        """P10, P50 and P90 of draws.

        >>> Range.of(np.arange(100.0), "EUR")
        Range(low=Decimal('9.50'), mid=Decimal('49.50'), high=Decimal('89.50'))
        """
        ends = quantiles(draws)
        return cls(*(whole_units(Decimal(repr(float(end))), currency) + 0 for end in ends))
