"""Rows held to the contract as a load does it: an optional cell never costs its row."""

from dataclasses import dataclass
from datetime import date
from typing import Final

import polars as pl

from pricing.intake.written.table import MONEY_COLUMNS, SAID_OTHERWISE, as_written
from pricing.records.cells import raw_text
from pricing.records.contract import check, spared

ADDED: Final = ("not_known", SAID_OTHERWISE, "broken_rules", "unreadable", "place")
"""Columns that are added to rows on their way."""

_WORDS: Final = pl.List(pl.String)


@dataclass(frozen=True)
class Checked:
    """Rows of a table after its checks."""

    accepted: pl.DataFrame
    """The contract's columns, and ``place``."""
    broken: pl.DataFrame
    """Of the others ``place`` and ``broken_rules``."""
    told: pl.DataFrame
    """Of some accepted rows ``place``, ``not_known`` and ``SAID_OTHERWISE``."""
    in_base: pl.Series
    """Places of accepted rows that say neither an amount nor a currency: that of the market stands."""


def check_rows(mapped: pl.DataFrame, today: date, base_currency: str, *, written: bool) -> Checked:
    """Check rows; those refused are looked at again, without the cells that a record can be without, and
    before
    that as people write them where ``written`` says that nobody has read them so yet."""
    accepted, told = [], []
    in_base = pl.Series("place", [], pl.UInt32)

    def passed(rows: pl.DataFrame) -> pl.DataFrame:
        """Keep the rows that pass, and give the others."""
        result = check(rows, today)
        kept = rows.join(result.rejected, on="place", how="anti", maintain_order="left")
        accepted.append(result.accepted.with_columns(kept["place"]))
        for name in ("not_known", SAID_OTHERWISE):
            if name in kept.columns:
                told.append(kept.select("place", name).filter(pl.col(name).list.len() > 0))
        return result.rejected

    refused = passed(mapped)
    if written and not refused.is_empty():
        refused = passed(as_written(refused.drop("broken_rules")))
    if not refused.is_empty():
        readable = spared(refused)
        bare = readable.select(_nothing_in_a_currency(readable)).to_series()
        in_base = readable["place"].filter(bare)
        currency = pl.when(bare).then(pl.lit(base_currency)).otherwise(_text(readable, "currency"))
        refused = passed(readable.with_columns(currency.alias("currency")))
    empty = pl.DataFrame(schema={"place": pl.UInt32, "not_known": _WORDS, SAID_OTHERWISE: _WORDS})
    return Checked(
        pl.concat(accepted).sort("place") if len(accepted) > 1 else accepted[0],
        refused.select("place", "broken_rules"),
        pl.concat([empty, *told], how="diagonal"),
        in_base,
    )


def _nothing_in_a_currency(rows: pl.DataFrame) -> pl.Expr:
    """Whether a row says no amount of any kind, and no currency."""
    cells = [_text(rows, name) for name in (*MONEY_COLUMNS, "currency")]
    return pl.all_horizontal((cell.str.strip_chars() == "").fill_null(True) for cell in cells)


def _text(rows: pl.DataFrame, name: str) -> pl.Expr:
    return raw_text(name, rows.schema[name]) if name in rows.columns else pl.lit(None, dtype=pl.String)
