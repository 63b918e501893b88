"""Every record's amount as the all-in price, in the market's base currency at the event date."""

from collections.abc import Sequence
from typing import Final

import polars as pl

from pricing.money.charges import Charge
from pricing.money.currencies import in_base, thousandths, with_rates

PRICE_COLUMNS: Final = ("price", "lower_price", "upper_price", "rate_date")
REASONS: Final = ("premium_unknown", "commission_unknown", "rate_unknown")
"""Why a record has no price: rules of the market file beside those of the record contract."""

_LINES: Final = ("amount", "highest_bid", "reserve", "low_estimate")


def price_records(
    records: pl.DataFrame, base: str, charges: Sequence[Charge] = (), own_rates: pl.DataFrame | None = None
) -> pl.DataFrame:
    """Add the prices that a buyer pays, and why there are none.

    ``records`` are rows that keep the contract. Added, in ``base``: ``price`` (sold and asking; for a sale
    the amount with the buyer's premium), ``lower_price`` and ``upper_price`` (unsold lots: what the highest
    bid and the reserve, or the low estimate where no reserve is known, would have come to; null where the
    premium is not known), ``rate_date``,
    and ``unpriced``: one of ``REASONS`` or null. The premium is the record's own, else that of the source's
    schedule in force; outside auctions there is none.

    >>> from datetime import date; from decimal import Decimal
    >>> row = {"source": "notes", "channel": "private", "outcome": "sold", "price_basis": "all-in",
    ...        "event_date": date(2024, 5, 1), "amount": Decimal(4250), "currency": "GBP", "premium": None,
    ...        "highest_bid": None, "reserve": None, "low_estimate": None}
    >>> price_records(pl.DataFrame([row]), "EUR")["price"].item()  # 0.85478 GBP to the euro on 30 April
    Decimal('4972.04')
    """
    frame = with_rates(records, base, own_rates).with_columns(
        thousandths(pl.col(name)).alias(f"{name} due") for name in (*_LINES, "premium")
    )
    frame = _with_charges(frame, charges)
    hammer = pl.col("price_basis") == "hammer"
    net = pl.col("price_basis") == "net"
    priced = pl.col("outcome").is_in(["sold", "asking"])
    bounded = pl.col("outcome") == "unsold"
    upper = pl.coalesce("reserve all-in", "low_estimate all-in")
    due = (
        pl.when(hammer)
        .then(pl.coalesce(pl.col("amount due") + pl.col("premium due"), "amount all-in"))
        .when(net & (pl.col("channel") != "private"))
        .then("net all-in")
        .when(net)
        .then(pl.coalesce("net all-in", "amount due"))
        .otherwise("amount due")
    )
    lines = pl.any_horizontal(pl.col(name).is_not_null() for name in _LINES[1:])
    no_charge = pl.when(priced & due.is_null()).then(
        pl.when(net).then(pl.lit("commission_unknown")).otherwise(pl.lit("premium_unknown"))
    )
    no_rate = pl.when(((priced & due.is_not_null()) | (bounded & lines)) & pl.col("units").is_null()).then(
        pl.lit("rate_unknown")
    )
    return (
        frame.lazy()
        .with_columns(
            price=pl.when(priced).then(in_base(due, base)),
            lower_price=pl.when(bounded).then(in_base(pl.col("highest_bid all-in"), base)),
            upper_price=pl.when(bounded).then(in_base(upper, base)),
            unpriced=pl.coalesce(no_charge, no_rate),
        )
        .with_columns(
            # A bid above what was wanted contradicts the lot going unsold: what was wanted is then unknown.
            upper_price=pl.when(~(pl.col("lower_price") > pl.col("upper_price")).fill_null(False)).then(
                "upper_price"
            )
        )
        .select(*records.columns, *PRICE_COLUMNS, "unpriced")
        .collect()
    )


def _with_charges(frame: pl.DataFrame, charges: Sequence[Charge]) -> pl.DataFrame:
    """Add what hammer amounts come to all-in, and the all-in price of a net amount; null where unknown."""
    premiums, commissions = (
        [charge for charge in charges if charge.kind == kind] for kind in ("premium", "commission")
    )
    frame = _with_charge_in_force(frame, premiums, "charge")
    frame = _with_charge_in_force(frame, commissions, "commission")
    unknown = pl.lit(None, dtype=pl.Int128)

    def all_in(amount: pl.Expr) -> pl.Expr:
        total = unknown
        for place, charge in enumerate(premiums):
            total = pl.when(pl.col("charge") == place).then(charge.all_in(amount)).otherwise(total)
        return pl.when(pl.col("channel") != "auction").then(amount).otherwise(total)

    sold_at = unknown
    for place, charge in enumerate(commissions):
        here = charge.hammer_of_net(pl.col("amount due"))
        sold_at = pl.when(pl.col("commission") == place).then(here).otherwise(sold_at)
    frame = frame.with_columns(pl.when(pl.col("price_basis") == "net").then(sold_at).alias("net hammer"))
    return frame.with_columns(
        *(all_in(pl.col(f"{name} due")).alias(f"{name} all-in") for name in _LINES),
        all_in(pl.col("net hammer")).alias("net all-in"),
    )


def _with_charge_in_force(frame: pl.DataFrame, charges: Sequence[Charge], name: str) -> pl.DataFrame:
    """Add the place in ``charges`` of the one in force for each row's source, currency and day."""
    terms = ("source", "currency", "valid_from", "valid_until")
    rows = [(*(getattr(charge, term) for term in terms), nth) for nth, charge in enumerate(charges)]
    types = dict(zip((*terms, name), (pl.String, pl.String, pl.Date, pl.Date, pl.Int32), strict=True))
    table = pl.DataFrame(rows, schema=types, orient="row").sort("valid_from")
    days = frame.select("source", "currency", "event_date").unique().sort("event_date")
    in_force = days.join_asof(
        table, left_on="event_date", right_on="valid_from", by=["source", "currency"], check_sortedness=False
    )
    ended = (pl.col("event_date") > pl.col("valid_until")).fill_null(False)
    in_force = in_force.select("source", "currency", "event_date", pl.when(~ended).then(name))
    return frame.join(in_force, on=["source", "currency", "event_date"], how="left", maintain_order="left")
