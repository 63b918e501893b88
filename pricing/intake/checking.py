"""Rows held to the contract as a load does it, an optional cell never costs its row; and the first rows of a
file as they would land, before anything is kept."""

from dataclasses import dataclass
from datetime import date
from typing import Final

import polars as pl

from pricing.intake.mappings.mapping import Mapping
from pricing.intake.written.cars import CarNames
from pricing.intake.written.table import MONEY_COLUMNS, SAID_OTHERWISE, as_written
from pricing.records.cells import raw_text
from pricing.records.contract import REQUIRED, check, spared

ADDED: Final = ("not_known", SAID_OTHERWISE, "broken_rules", "unreadable", "place")
"""Columns that are added to rows on their way."""

_WORDS: Final = pl.List(pl.String)
_MADE: Final = ("record_id", "batch_id", "source", "source_ref")
_ANY_CURRENCY: Final = "EUR"
"""For lots without an amount; no rule depends on which it is."""


@dataclass(frozen=True)
class Checked:
    """Rows of a table after its checks."""

    accepted: pl.DataFrame
    """The contract's columns, and ``place``."""
    broken: pl.DataFrame
    """Of the others ``place`` and ``broken_rules``."""
    remarks: pl.DataFrame
    """Of some accepted rows ``place``, ``not_known`` and ``SAID_OTHERWISE``."""
    in_base: pl.Series
    """Places of accepted rows that say neither an amount nor a currency: that of the market stands."""


def check_rows(mapped: pl.DataFrame, today: date, base_currency: str, *, written: bool) -> Checked:
    """Check rows; those refused are looked at again, without the cells that a record can be without, and
    before that as people write them where ``written`` says that nobody has read them so yet."""
    accepted, remarks = [], []
    in_base = pl.Series("place", [], pl.UInt32)

    def passed(rows: pl.DataFrame) -> pl.DataFrame:
        """Keep the rows that pass, and give the others."""
        result = check(rows, today)
        passing = rows.join(result.rejected, on="place", how="anti", maintain_order="left")
        accepted.append(result.accepted.with_columns(passing["place"]))
        for name in ("not_known", SAID_OTHERWISE):
            if name in passing.columns:
                remarks.append(passing.select("place", name).filter(pl.col(name).list.len() > 0))
        return result.rejected

    refused = passed(mapped)
    if written and not refused.is_empty():
        refused = passed(as_written(refused.drop("broken_rules")))
    if not refused.is_empty():
        readable = spared(refused)
        cells = [_text(readable, name).str.strip_chars() for name in (*MONEY_COLUMNS, "currency")]
        bare = readable.select(pl.all_horizontal((cell == "").fill_null(True) for cell in cells)).to_series()
        in_base = readable["place"].filter(bare)
        currency = pl.when(bare).then(pl.lit(base_currency)).otherwise(_text(readable, "currency"))
        refused = passed(readable.with_columns(currency.alias("currency")))
    empty = pl.DataFrame(schema={"place": pl.UInt32, "not_known": _WORDS, SAID_OTHERWISE: _WORDS})
    return Checked(
        pl.concat(accepted).sort("place") if len(accepted) > 1 else accepted[0],
        refused.select("place", "broken_rules"),
        pl.concat([empty, *remarks], how="diagonal"),
        in_base,
    )


def _text(rows: pl.DataFrame, name: str) -> pl.Expr:
    return raw_text(name, rows.schema[name]) if name in rows.columns else pl.lit(None, dtype=pl.String)


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
    blank = {**dict.fromkeys(REQUIRED, pl.lit(None, pl.String)), **dict.fromkeys(_MADE, pl.lit("-"))}
    absent = [value.alias(name) for name, value in blank.items() if name not in mapped.columns]
    placed = mapped.with_row_index("place")
    checked = check_rows(placed.with_columns(absent), today, _ANY_CURRENCY, written=False)
    return placed.join(checked.broken, on="place", how="left", maintain_order="left").drop("place")


def turned(frame: pl.DataFrame) -> pl.DataFrame:
    """A few rows of many columns as text, with the columns one under the other.

    >>> turned(pl.DataFrame({"make": ["Corvane"], "options": [["overdrive", "tow_bar"]]})).rows()
    [('make', 'Corvane'), ('options', 'overdrive;tow_bar')]
    """
    text = frame.select(raw_text(name, kind) for name, kind in frame.schema.items())
    names = [f"row {place}" for place in range(1, frame.height + 1)]
    return text.transpose(include_header=True, header_name="column", column_names=names)
