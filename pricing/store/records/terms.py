"""The terms a market prices by, as its file keeps them: what sources charge, and the user's own exchange
rates."""

import json
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

import duckdb
import polars as pl

from pricing.errors import TableError
from pricing.intake.tables.readers import read_file
from pricing.money.charges import Charge, Tier
from pricing.money.currencies import CURRENCIES
from pricing.records.cells import read_cells
from pricing.store.audit import now, write_audit
from pricing.store.connection import frame, run


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
            "INSERT INTO charges (source, kind, valid_from, currency, terms) VALUES (?, ?, ?, ?, ?) "
            "ON CONFLICT DO UPDATE SET terms = excluded.terms",
            [*key, json.dumps(terms)],
        )


def charges_in_force(older: Sequence[Charge], newer: Sequence[Charge]) -> list[Charge]:
    """Schedules of both, the newer in place of the older where both say something of the same day."""
    by_key = {
        (charge.source, charge.kind, charge.valid_from, charge.currency): charge
        for charge in (*older, *newer)
    }
    return list(by_key.values())


def own_rates(opened: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """The user's own dated rates: currency, rate_date, rate (what one unit of the base currency buys)."""
    return frame(opened, "SELECT currency, rate_date, rate FROM own_rates ORDER BY ALL")


def add_rates(opened: duckdb.DuckDBPyConnection, path: Path) -> int:
    """Add rates from a CSV file (currency, rate_date, rate); one of the same day takes the place of the
    older."""
    types = {"currency": pl.String(), "rate_date": pl.Date(), "rate": pl.Decimal(20, 6)}
    frames = [part.frame for part in read_file(path)]
    absent = [name for name in types if name not in frames[0].columns]
    if absent:
        raise TableError(f"{path} has no column {', '.join(absent)}; rates have currency, rate_date and rate")
    rates = read_cells(pl.concat(frames), types)
    good = (
        pl.col("currency").is_in(sorted(CURRENCIES))
        & pl.col("rate_date").is_not_null()
        & (pl.col("rate") > 0)
    )
    wrong = rates.with_row_index("row", offset=2).filter(~good.fill_null(False))
    if not wrong.is_empty():
        raise TableError(
            f"{path}, row {wrong['row'][0]}: a rate has an ISO 4217 currency, an ISO date and a positive rate"
        )
    opened.register("given", rates.unique(["currency", "rate_date"], keep="last").drop("unreadable"))
    run(
        opened,
        "INSERT INTO own_rates (currency, rate_date, rate) SELECT currency, rate_date, rate FROM given "
        "ON CONFLICT DO UPDATE SET rate = excluded.rate",
    )
    opened.unregister("given")
    write_audit(opened, now(), "rates", path.name, {"rates": rates.height})
    return rates.height
