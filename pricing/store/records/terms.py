"""The terms a market prices by, as its file keeps them: its base currency, what sources charge and how their
files are read, and the user's own exchange rates."""

import json
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from operator import attrgetter
from pathlib import Path
from typing import Final

import polars as pl

from pricing.errors import MarketError, TableError
from pricing.intake.mappings.mapping import Mapping
from pricing.intake.mappings.mapping_files import mapping_text, parse_mapping
from pricing.intake.tables.readers import read_whole
from pricing.money.charges import Charge, Tier
from pricing.money.currencies import CURRENCIES, minor_unit_places
from pricing.money.prices import PRICE_COLUMNS, price_records
from pricing.records.cells import read_cells
from pricing.records.contract import COLUMNS
from pricing.store.audit import now, write_audit
from pricing.store.connection import Opened, add_rows, frame, run, value

_KEY: Final = ("source", "kind", "valid_from", "currency")


def stored_charges(opened: Opened) -> list[Charge]:
    """Every schedule that the market knows."""
    charges = []
    rows = run(opened, "SELECT source, kind, valid_from, currency, terms FROM charges ORDER BY ALL")
    for source, kind, valid_from, currency, text in rows:
        terms = json.loads(text)
        tiers = tuple(
            Tier(Decimal(rate), None if end is None else Decimal(end)) for rate, end in terms["tiers"]
        )
        tax, minimum = Decimal(terms["tax"]), Decimal(terms["minimum"])
        until = date.fromisoformat(terms["until"]) if terms.get("until") else None
        charges.append(Charge(source, kind, valid_from, currency, tiers, tax, minimum, valid_until=until))
    return charges


def kept_mappings(opened: Opened) -> list[Mapping]:
    """Every mapping kept, by its source in alphabetical order."""
    return [parse_mapping(text) for (text,) in run(opened, "SELECT mapping FROM mappings ORDER BY source")]


def keep_mappings(opened: Opened, mappings: Iterable[Mapping]) -> None:
    """Keep mappings with their schedules: a mapping in place of an earlier one of its source, a schedule in
    place of one of the same source, kind, day and currency."""
    for mapping in mappings:
        texts = {"source": mapping.source, "mapping": mapping_text(mapping)}
        add_rows(opened, "mappings", [texts], clash="replace")
        for charge in mapping.charges:
            tiers = [
                [str(tier.rate), None if tier.up_to is None else str(tier.up_to)] for tier in charge.tiers
            ]
            terms = {"tiers": tiers, "tax": str(charge.tax), "minimum": str(charge.minimum)}
            if charge.valid_until is not None:
                terms["until"] = str(charge.valid_until)
            key = {name: getattr(charge, name) for name in _KEY}
            add_rows(opened, "charges", [key | {"terms": json.dumps(terms)}], clash="replace")


def charges_in_force(older: Sequence[Charge], newer: Sequence[Charge]) -> list[Charge]:
    """Schedules of both, the newer in place of the older where both say something of the same day."""
    return list({attrgetter(*_KEY)(charge): charge for charge in (*older, *newer)}.values())


def own_rates(opened: Opened) -> pl.DataFrame:
    """The user's own dated rates: currency, rate_date, rate (what one unit of the base currency buys)."""
    return frame(opened, "SELECT currency, rate_date, rate FROM own_rates ORDER BY ALL")


def add_rates(opened: Opened, path: Path) -> int:
    """Add rates from a CSV file (currency, rate_date, rate), in place of those of the same day."""
    types = {"currency": pl.String(), "rate_date": pl.Date(), "rate": pl.Decimal(20, 6)}
    table = read_whole(path)
    absent = [name for name in types if name not in table.columns]
    if absent:
        raise TableError(f"{path} has no column {', '.join(absent)}; rates have currency, rate_date and rate")
    rates = read_cells(table, types)
    rated = pl.col("rate_date").is_not_null() & (pl.col("rate") > 0)
    good = rated & pl.col("currency").is_in(sorted(CURRENCIES))
    wrong = rates.with_row_index("row", offset=2).filter(~good.fill_null(False))
    if not wrong.is_empty():
        raise TableError(
            f"{path}, row {wrong['row'][0]}: a rate has an ISO 4217 currency, an ISO date and a positive rate"
        )
    last = rates.unique(["currency", "rate_date"], keep="last").drop("unreadable")
    add_rows(opened, "own_rates", last, clash="replace")
    write_audit(opened, now(), "rates", path.name, {"rates": rates.height})
    return rates.height


def rebase(opened: Opened, currency: str) -> int:
    """Derive every price in another base currency, or change nothing; returns how many records have one.

    Fits are of the old currency and go. Raises ``MarketError`` when a record would have no price for want of
    a rate, or when the user's own rates are of the old base.
    """
    minor_unit_places(currency)
    old = value(opened, "SELECT base_currency FROM market")
    if currency == old:
        return 0
    if own_rates(opened).height:
        raise MarketError(
            f"this market has exchange rates of your own, of {old}; they would not hold for {currency}"
        )
    records = frame(opened, f"SELECT {', '.join(COLUMNS)} FROM records")  # noqa: S608
    priced = price_records(records, currency, stored_charges(opened))
    lost = priced["unpriced"].drop_nulls()
    if lost.len():
        raise MarketError(f"{lost.len():,} records have no price in {currency}: {lost[0].replace('_', ' ')}")
    changed = ", ".join(f"{name} = priced.{name}" for name in PRICE_COLUMNS)
    statement = f"UPDATE records SET {changed} FROM priced WHERE records.record_id = priced.record_id"  # noqa: S608
    run(opened, statement, priced=priced.select("record_id", *PRICE_COLUMNS))
    run(opened, "DELETE FROM fits")
    run(opened, "UPDATE market SET base_currency = ?", [currency])
    write_audit(opened, now(), "rebase", currency, {"from": old, "records": priced.height})
    return priced.height
