"""The terms a market prices by, as its file keeps them: what sources charge, and the user's own exchange
rates."""

import json
from collections.abc import Sequence
from decimal import Decimal

import duckdb
import polars as pl

from pricing.charges import Charge, Tier
from pricing.store_connection import frame, run


def stored_charges(opened: duckdb.DuckDBPyConnection) -> list[Charge]:
    """Every schedule that the market knows."""
    rows = run(opened, "SELECT source, kind, valid_from, currency, terms FROM charges ORDER BY ALL")
    charges = []
    for source, kind, valid_from, currency, text in rows:
        terms = json.loads(text)
        tiers = tuple(
            Tier(Decimal(rate), None if end is None else Decimal(end)) for rate, end in terms["tiers"]
        )
        charges.append(
            Charge(
                source, kind, valid_from, currency, tiers, Decimal(terms["tax"]), Decimal(terms["minimum"])
            )
        )
    return charges


def store_charges(opened: duckdb.DuckDBPyConnection, charges: Sequence[Charge]) -> None:
    """Keep schedules; one of the same source, kind, day and currency takes the place of the older."""
    for charge in charges:
        key = [charge.source, charge.kind, charge.valid_from, charge.currency]
        terms = {
            "tiers": [
                [str(tier.rate), None if tier.up_to is None else str(tier.up_to)] for tier in charge.tiers
            ],
            "tax": str(charge.tax),
            "minimum": str(charge.minimum),
        }
        run(
            opened,
            "DELETE FROM charges WHERE source = ? AND kind = ? AND valid_from = ? AND currency = ?",
            key,
        )
        run(opened, "INSERT INTO charges VALUES (?, ?, ?, ?, ?)", [*key, json.dumps(terms)])


def charges_in_force(older: Sequence[Charge], newer: Sequence[Charge]) -> list[Charge]:
    """Schedules of both, the newer in place of the older where both say something of the same day."""
    by_key = {
        (charge.source, charge.kind, charge.valid_from, charge.currency): charge
        for charge in (*older, *newer)
    }
    return list(by_key.values())


def own_rates(opened: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """The user's own dated rates: currency, rate_date, rate (what one unit of the base currency buys)."""
    return frame(opened, "SELECT currency, rate_date, rate FROM own_rates")
