"""Records as sales: one a sale, under settled names, as they were known on a day."""

import hashlib
from datetime import date
from typing import Final

import polars as pl

from pricing.records.contract import COLUMNS
from pricing.store.connection import Opened, frame, value
from pricing.store.records.links import behind_as_of
from pricing.store.records.names import under_settled_names

DERIVED: Final = ("price", "lower_price", "upper_price")
"""Columns of ``Market.sales`` beside the contract's: all-in, in the base currency at the event date."""


def read_sales(opened: Opened, as_of: date | None, *, every_record: bool = False) -> pl.DataFrame:
    """See ``Market.sales``; with ``every_record`` those too that stand behind a better one."""
    columns = ", ".join((*COLUMNS, *DERIVED))
    frames, which = {}, "true" if every_record else "front_id IS NULL"
    if as_of is not None and not every_record:
        frames = {"behind": behind_as_of(opened, as_of)}
        which = "record_id NOT IN (SELECT record_id FROM behind)"
    sales = frame(
        opened,
        f"SELECT {columns} FROM records WHERE event_date <= coalesce(?, DATE '9999-12-31') AND {which} "  # noqa: S608
        "ORDER BY event_date, record_id",
        [as_of],
        **frames,
    )
    return under_settled_names(opened, sales)


def digest(opened: Opened) -> str:
    """See ``Market.digest``."""
    text = value(
        opened,
        "SELECT string_agg(concat_ws('|', record_id, price, lower_price, upper_price), ';' "
        "ORDER BY record_id) FROM records",
    )
    return hashlib.sha256(str(text).encode()).hexdigest()
