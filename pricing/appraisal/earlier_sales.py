"""Earlier sales and offers of the subject itself: the records that have its chassis number, however typed."""

from collections.abc import Mapping
from datetime import date
from typing import Any, Final

import polars as pl

from pricing.appraisal.record.record import Appraisal
from pricing.intake.duplicates import chassis_key, is_searchable, with_keys

TOLD: Final = (
    "record_id", "event_date", "outcome", "channel", "country", "source", "source_ref", "amount", "currency",
    "price_basis", "price", "condition_band", "odometer_km",
)  # fmt: skip
"""What is kept of each: ``price`` all-in, in the market's base currency at the day of the event."""

YEARS_ASKED: Final = 3
"""Years before the effective date whose sales and offers of the car a valuer speaks of (USPAP 2024, Standards
Rule 7-5, asks for those of a reasonable time, and three years of real property; from memory)."""


def earlier_sales(sales: pl.DataFrame, car: Mapping[str, Any]) -> pl.DataFrame | None:
    """The sales and offers of one car among all, the newest first: ``TOLD``. None where it has no chassis
    number to look by, or too short a one.

    >>> row = dict.fromkeys(TOLD) | {"chassis_number": "wx/34-0102", "make": "Corvane", "model": "Six"}
    >>> own = earlier_sales(pl.DataFrame([row]), {"chassis_number": "WX 34 0102", "make": "Corvane"})
    >>> own.height
    1
    """
    number = str(car.get("chassis_number") or "")
    if not is_searchable(number):
        return None
    known = sales.filter(pl.col("make") == car["make"], pl.col("chassis_number").is_not_null())
    own = with_keys(known).filter(pl.col("chassis_key") == chassis_key(number))
    return own.sort("event_date", "record_id", descending=True).select(TOLD)


def to_speak_of(record: Appraisal, own_sales: pl.DataFrame | None) -> pl.DataFrame:
    """Those of the last ``YEARS_ASKED`` years before the effective date, which a valuer has to speak of."""
    at = record.assignment.effective_date
    if own_sales is None or at is None:
        return pl.DataFrame()
    since = date(at.year - YEARS_ASKED, at.month, min(at.day, 28))
    return own_sales.filter(pl.col("event_date") >= since)
