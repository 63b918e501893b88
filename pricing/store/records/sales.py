"""Records as sales: one a sale, under settled names, as they were known on a day."""

import hashlib
from datetime import date
from typing import Final

import duckdb
import polars as pl

from pricing.records.contract import COLUMNS
from pricing.store.connection import frame, run
from pricing.store.records.links import behind_as_of
from pricing.store.records.names import under_settled_names

DERIVED: Final = ("price", "lower_price", "upper_price")
"""Columns of ``Market.sales`` beside the contract's: all-in, in the market's base currency at the event
date."""


def read_sales(
    opened: duckdb.DuckDBPyConnection, as_of: date | None, *, every_record: bool = False
) -> pl.DataFrame:
    """See ``Market.sales``; with ``every_record`` those too that stand behind a better one."""
    columns = ", ".join((*COLUMNS, *DERIVED))
    if as_of is None or every_record:
        behind = "" if every_record else "AND front_id IS NULL"
    else:
        opened.register("behind", behind_as_of(opened, as_of))
        behind = "AND record_id NOT IN (SELECT record_id FROM behind)"
    sales = frame(
        opened,
        f"SELECT {columns} FROM records WHERE event_date <= coalesce(?, DATE '9999-12-31') {behind} "  # noqa: S608
        "ORDER BY event_date, record_id",
        [as_of],
    )
    return under_settled_names(opened, sales)


def digest(opened: duckdb.DuckDBPyConnection) -> str:
    """See ``Market.digest``."""
    ((text,),) = run(
        opened,
        "SELECT string_agg(concat_ws('|', record_id, price, lower_price, upper_price), ';' "
        "ORDER BY record_id) FROM records",
    )
    return hashlib.sha256(str(text).encode()).hexdigest()
