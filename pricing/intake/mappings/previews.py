"""The first rows of a file as a mapping would have them land, before anything is kept."""

from datetime import date
from typing import Final

import polars as pl

from pricing.intake.checking import check_rows
from pricing.intake.mappings.mapping import Mapping
from pricing.intake.written.cars import CarNames
from pricing.records.cells import raw_text
from pricing.records.contract import REQUIRED

_MADE: Final = ("record_id", "batch_id", "source", "source_ref")
_ANY_CURRENCY: Final = "EUR"
"""For lots without an amount; no rule depends on which it is."""


def preview(
    mapping: Mapping,
    frame: pl.DataFrame,
    today: date,
    rows: int = 8,
    names: CarNames = CarNames(),  # noqa: B008 - frozen
) -> pl.DataFrame:
    """The first rows of a table as the mapping would have them land, with the rules that each one would
    break."""
    mapped = mapping.apply(frame.head(rows), names)
    absent = [pl.lit(None, dtype=pl.String).alias(name) for name in REQUIRED if name not in mapped.columns]
    made = [pl.lit("-").alias(name) for name in _MADE if name not in mapped.columns]
    whole = mapped.with_columns(absent).with_columns(made).with_row_index("row")
    checked = check_rows(whole.with_columns(place="row"), today, _ANY_CURRENCY, written=False)
    broken = checked.broken.rename({"place": "row"})
    return mapped.with_row_index("row").join(broken, on="row", how="left", maintain_order="left").drop("row")


def turned(frame: pl.DataFrame) -> pl.DataFrame:
    """A few rows of many columns as text, with the columns one under the other.

    >>> turned(pl.DataFrame({"make": ["Corvane"], "options": [["overdrive", "tow_bar"]]})).rows()
    [('make', 'Corvane'), ('options', 'overdrive;tow_bar')]
    """
    text = frame.select(raw_text(name, kind) for name, kind in frame.schema.items())
    names = [f"row {place}" for place in range(1, frame.height + 1)]
    return text.transpose(include_header=True, header_name="column", column_names=names)
