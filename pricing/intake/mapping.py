"""Their columns into ours, by a mapping that a person wrote or settled once for a source.

It says which of their columns each of ours comes from and what is the same for every row; then how dates,
numbers, distances, words and options are written, and what the source charges.
"""

import tomllib
from collections.abc import Mapping as Table
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any, Final

import polars as pl
import pycountry

from pricing.errors import MappingError
from pricing.intake.layout import Layout
from pricing.intake.text_tables import ENCODINGS
from pricing.intake.texts import (
    DATE_ORDERS,
    currency_in,
    date_text,
    money_text,
    number_text,
    phrase_text,
    word_text,
)
from pricing.money.charges import Charge
from pricing.records.contract import COLUMNS
from pricing.vocabulary import DISTANCE_UNITS, OPTION_CODES

MONEY_COLUMNS: Final = ("amount", "premium", "low_estimate", "high_estimate", "reserve", "highest_bid")
DATE_COLUMNS: Final = ("event_date", "listed_on")
WORD_COLUMNS: Final = (
    "condition_band", "outcome", "channel", "price_basis", "drive_side", "matching_numbers", "country"
)  # fmt: skip
YES: Final = ("yes", "y", "x", "1", "true")

_MADE_BY_THE_STORE: Final = ("record_id", "batch_id")


@dataclass(frozen=True)
class Mapping:
    """How one source's tables become records."""

    source: str
    columns: Table[str, str]
    """Ours = theirs."""
    constants: Table[str, str] = field(default_factory=dict)
    """Ours = the value of every row."""
    layout: Layout = field(default_factory=Layout)
    date_order: str | None = None
    """One of ``texts.DATE_ORDERS``; without it only ISO dates are read."""
    decimal: str = "."
    odometer_unit: str = "km"
    """One of ``vocabulary.DISTANCE_UNITS``."""
    words: Table[str, Table[str, str]] = field(default_factory=dict)
    """By our column: their word, in lower case = ours. Goes before the words that are generally
    understood."""
    option_columns: Table[str, str] = field(default_factory=dict)
    """Option code = their yes/no column."""
    packed_options: str | None = None
    """Their column that lists options."""
    option_separator: str = ";"
    option_words: Table[str, str] = field(default_factory=dict)
    yes: tuple[str, ...] = YES
    charges: tuple[Charge, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what names nothing or contradicts itself."""
        where = f"the mapping of {self.source!r}"
        only(where, "columns", self.columns, [name for name in COLUMNS if name not in _MADE_BY_THE_STORE])
        only(where, "constants", self.constants, [name for name in COLUMNS if name not in _MADE_BY_THE_STORE])
        only(where, "words", self.words, WORD_COLUMNS)
        only(where, "options.columns", self.option_columns, OPTION_CODES)
        twice = sorted(set(self.columns) & set(self.constants))
        if twice:
            raise MappingError(
                f"{where} takes {', '.join(twice)} from a column and from a constant; keep one"
            )
        if "options" in self.columns and (self.option_columns or self.packed_options is not None):
            raise MappingError(f"{where} takes options both from [columns] and from [options]; keep one")
        _one_of(where, "dates.order", self.date_order, (None, *DATE_ORDERS))
        _one_of(where, "numbers.decimal", self.decimal, (".", ","))
        _one_of(where, "units.odometer_km", self.odometer_unit, tuple(DISTANCE_UNITS))
        _one_of(where, "encoding", self.layout.encoding, (None, *ENCODINGS))

    def apply(self, frame: pl.DataFrame) -> pl.DataFrame:
        """A table of theirs as columns of ours, mostly text, for the contract's ``check``.

        Raises ``MappingError`` when a column that the mapping names is absent.

        >>> mapping = Mapping("notes", {"make": "Marque", "amount": "Paid"}, {"country": "GB"})
        >>> mapping.apply(pl.DataFrame({"Marque": ["Corvane"], "Paid": ["£4,250"]})).row(0, named=True)
        {'source': 'notes', 'country': 'GB', 'make': 'Corvane', 'amount': '4250', 'currency': 'GBP'}
        """
        packed = [] if self.packed_options is None else [self.packed_options]
        wanted = [*self.columns.values(), *self.option_columns.values(), *packed]
        absent = sorted({name for name in wanted if name not in frame.columns})
        if absent:
            raise MappingError(
                f"the mapping of {self.source!r} names columns that the table does not have: "
                f"{', '.join(absent)}; it has: {', '.join(frame.columns)}"
            )
        nested = [name for name in (*self.option_columns.values(), *packed) if frame.schema[name].is_nested()]
        if nested:
            raise MappingError(
                f"the mapping of {self.source!r} takes options from {', '.join(nested)}, whose cells are no "
                "text; a column of lists goes into [columns] as options"
            )
        values: dict[str, pl.Expr] = {"source": pl.lit(self.source)}
        values |= {ours: pl.lit(value) for ours, value in self.constants.items()}
        values |= {
            ours: self._read(ours, frame.schema[theirs], pl.col(theirs))
            for ours, theirs in self.columns.items()
        }
        if "currency" not in self.constants and "amount" in self.columns:
            amount = self.columns["amount"]
            if frame.schema[amount] == pl.String:
                stated = [values["currency"]] if "currency" in values else []
                values["currency"] = pl.coalesce(*stated, currency_in(pl.col(amount)))
        options = self._options()
        if options is not None:
            values["options"] = options
        return frame.lazy().select(value.alias(name) for name, value in values.items()).collect()

    def complete(self, frame: pl.DataFrame) -> pl.DataFrame:
        """A table that has our columns already, such as saved listings, with what it does not say filled
        in."""
        fill = [
            pl.col(name).fill_null(value) if name in frame.columns else pl.lit(value).alias(name)
            for name, value in self.constants.items()
        ]
        words = [
            word_text(pl.col(name), known_words()[name]) for name in ("country",) if name in frame.columns
        ]
        return frame.with_columns(words).with_columns(pl.lit(self.source).alias("source"), *fill)

    def _read(self, ours: str, kind: pl.DataType, cell: pl.Expr) -> pl.Expr:
        if ours == "odometer_km" and self.odometer_unit != "km":
            text = cell.cast(pl.String) if kind != pl.String else number_text(cell, self.decimal)
            distance = text.cast(pl.Float64, strict=False) * DISTANCE_UNITS[self.odometer_unit]
            return pl.coalesce(distance.round(1).cast(pl.String), text)
        if kind != pl.String:
            return cell
        if ours in MONEY_COLUMNS:
            return money_text(cell, self.decimal)
        if ours in ("odometer_km", "condition_score"):
            return number_text(cell, self.decimal)
        if ours in DATE_COLUMNS:
            return date_text(cell, self.date_order)
        if ours in WORD_COLUMNS:
            words = {**known_words().get(ours, {}), **self.words.get(ours, {})}
            return phrase_text(cell, words) if ours == "condition_band" else word_text(cell, words)
        if ours == "history_file":
            return cell.str.to_lowercase().replace(dict.fromkeys(self.yes, "yes"))
        return cell

    def _options(self) -> pl.Expr | None:
        if not self.option_columns and self.packed_options is None:
            return None
        ticked = [
            pl.when(pl.col(theirs).cast(pl.String).str.strip_chars().str.to_lowercase().is_in(self.yes)).then(
                pl.lit(code)
            )
            for code, theirs in self.option_columns.items()
        ]
        lists = [pl.concat_list(ticked).list.drop_nulls()] if ticked else []
        if self.packed_options is not None:
            words = {**{code.replace("_", " "): code for code in OPTION_CODES}, **self.option_words}
            cell = pl.col(self.packed_options).cast(pl.String).str.split(self.option_separator)
            text = pl.element().str.strip_chars()
            named = cell.list.eval(
                pl.coalesce(
                    text.str.to_lowercase().replace_strict(words, default=None, return_dtype=pl.String), text
                )
            )
            lists.append(named.list.eval(pl.element().filter(pl.element() != "")).fill_null([]))
        return pl.concat_list(lists).list.unique(maintain_order=True)


@cache
def known_words() -> dict[str, dict[str, str]]:
    """Words that are generally understood, by column: theirs, in lower case = ours (``words.toml``)."""
    table: dict[str, dict[str, str]] = tomllib.loads(
        files("pricing.intake").joinpath("words.toml").read_text(encoding="utf-8")
    )
    countries = {country.name.lower(): country.alpha_2 for country in pycountry.countries}
    codes = {country.alpha_2.lower(): country.alpha_2 for country in pycountry.countries}
    table["country"] = {**countries, **codes, **table["country"]}
    return table


def only(where: str, entry: str, table: Table[str, Any], allowed: tuple[str, ...] | list[str]) -> None:
    unknown = sorted(set(table) - set(allowed))
    if unknown:
        raise MappingError(
            f"{where} has unknown names in [{entry}]: {', '.join(unknown)}; known: {', '.join(allowed)}"
        )


def _one_of(where: str, entry: str, value: str | None, allowed: tuple[str | None, ...]) -> None:
    if value not in allowed:
        names = ", ".join(repr(name) for name in allowed if name is not None)
        raise MappingError(f"{where}: {entry} is {value!r}; expected one of {names}")
