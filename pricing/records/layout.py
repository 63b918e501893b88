"""The sale-record layout as a person fills it in: every column with its kind, its words and an example."""

from dataclasses import dataclass
from typing import Final

import polars as pl

from pricing.car_fields import FIELDS
from pricing.records.contract import REQUIRED, Contract
from pricing.vocabulary import OUTCOMES, PRICE_BASES

MADE_BY_THE_STORE: Final = ("record_id", "batch_id", "source", "source_ref", "date_precision")
"""Columns that nobody has to fill in."""

_WORDS: Final = {name: part.words for name, part in FIELDS.items()} | {
    "history_file": ("yes", "no"), "outcome": OUTCOMES, "price_basis": PRICE_BASES,
}  # fmt: skip

_MEANINGS: Final = {
    "make": ("maker's name", "Wexcombe"),
    "model": ("model's name", "Sedge"),
    "variant": ("version of the model", "de luxe"),
    "year": ("model year", "1966"),
    "chassis_number": ("in any form", "WX/1234"),
    "body_style": ("in your own words", "saloon"),
    "drive_side": ("side of the car the driver sits on", "right"),
    "condition_band": ("condition on the day", "average"),
    "condition_score": ("condition from 0 to 100, within its band", "62"),
    "odometer_km": ("distance shown, in kilometres; another unit may stand in the cell", "86900"),
    "options": ("codes of options and upgrades, parted by ;", "overdrive;wire_wheels"),
    "matching_numbers": ("how it is known that engine and chassis belong together", "documented"),
    "history_file": ("whether bills and papers come with it", "yes"),
    "channel": ("where it was offered", "private"),
    "country": ("ISO 3166-1 code of the country it was offered in", "GB"),
    "outcome": ("what came of the offer", "sold"),
    "event_date": ("day of the sale, or that the offer was seen; a month or a year will do", "2024-05-31"),
    "amount": ("price; a currency may stand in the cell", "4250"),
    "currency": ("ISO 4217 code; of a lot without any amount it may be left out", "GBP"),
    "price_basis": (
        "hammer price; all-in, what the buyer pays; net, what the seller keeps; asking",
        "all-in",
    ),
    "premium": ("buyer's premium with its tax, where the amount is a hammer price", ""),
    "low_estimate": ("estimate, lower end, in hammer terms", ""),
    "high_estimate": ("estimate, upper end, in hammer terms", ""),
    "reserve": ("reserve, in hammer terms", ""),
    "highest_bid": ("highest bid of a lot that did not sell", ""),
    "listed_on": ("first day of the offer", "2024-04-02"),
    "notes": ("anything else", "one family from new"),
}
_KINDS: Final = {
    pl.String(): "text", pl.Int16(): "whole number", pl.Float64(): "number", pl.Boolean(): "yes or no",
    pl.Date(): "date", pl.Decimal(18, 3): "money", pl.List(pl.String()): "list",
}  # fmt: skip


@dataclass(frozen=True)
class ColumnLayout:
    """One column of a file of sale records."""

    name: str
    kind: str
    required: bool
    """A row without it is no record."""
    words: tuple[str, ...]
    """The words that it may hold; none for a column that is not of a closed list."""
    meaning: str
    example: str


def record_layout() -> tuple[ColumnLayout, ...]:
    """The columns that a person may fill in, in their order.

    >>> columns = {column.name: column for column in record_layout()}
    >>> columns["outcome"].words, columns["outcome"].required, columns["year"].kind, columns["year"].example
    (('sold', 'unsold', 'asking', 'withdrawn'), True, 'whole number', '1966')
    """
    return tuple(
        ColumnLayout(name, _KINDS[kind], name in REQUIRED, _WORDS.get(name, ()), *_MEANINGS[name])
        for name, kind in pl.Schema(Contract).items()
        if name not in MADE_BY_THE_STORE
    )
