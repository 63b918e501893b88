"""A market's base currency changed: every price derived anew, or nothing changed."""

import duckdb

from pricing.errors import MarketError
from pricing.money.currencies import minor_unit_places
from pricing.money.prices import PRICE_COLUMNS, price_records
from pricing.records.contract import COLUMNS
from pricing.store.audit import now, write_audit
from pricing.store.connection import frame, run
from pricing.store.records.terms import own_rates, stored_charges


def rebase(opened: duckdb.DuckDBPyConnection, currency: str) -> int:
    """Derive every price in another base currency; returns how many records have one.

    Fits are of the old currency and go. Raises ``MarketError`` when a record would have no price for want
    of a rate,
    or when the user's own rates are of the old base.
    """
    minor_unit_places(currency)
    ((old,),) = run(opened, "SELECT base_currency FROM market")
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
    opened.register("priced", priced.select("record_id", *PRICE_COLUMNS))
    changed = ", ".join(f"{name} = priced.{name}" for name in PRICE_COLUMNS)
    run(opened, f"UPDATE records SET {changed} FROM priced WHERE records.record_id = priced.record_id")  # noqa: S608
    opened.unregister("priced")
    run(opened, "DELETE FROM fits")
    run(opened, "UPDATE market SET base_currency = ?", [currency])
    write_audit(opened, now(), "rebase", currency, {"from": old, "records": priced.height})
    return priced.height
