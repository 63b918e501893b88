"""Their columns into ours, by a mapping that a person wrote or settled once for a source.

It says which of their columns each of ours comes from and what is the same for every row; then how dates,
numbers, distances, words and options are written, and what the source charges.
"""

from collections.abc import Mapping as Table
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import polars as pl

from pricing.errors import MappingError
from pricing.intake.tables.layout import Layout
from pricing.intake.tables.text_tables import ENCODINGS
from pricing.intake.written.cars import CarNames
from pricing.intake.written.dates import ORDERS
from pricing.intake.written.table import YEAR_UNITS, Habits, as_written, with_cars
from pricing.intake.written.words import WORD_COLUMNS, known_words, word_text, yes_and_no
from pricing.money.charges import Charge
from pricing.nearest import did_you_mean
from pricing.records.contract import COLUMNS
from pricing.vocabulary import AMOUNT_UNITS, DISTANCE_UNITS, OPTION_CODES, UNKNOWN_UNIT

PARTS: Final = {"event_month": "event_date", "event_year": "event_date", "odometer_unit": "odometer_km"}
"""What may stand in a column of its own beside the column of ours that it belongs to."""

YEAR_OF_MODEL: Final = r"\b(?:18[89]|19[0-9]|20[0-2])[0-9]\b"

_MADE_BY_THE_STORE: Final = ("record_id", "batch_id")


@dataclass(frozen=True)
class Mapping(Habits):
    """How one source's tables become records: what their columns are, beside how the source writes."""

    source: str
    columns: Table[str, str]
    """Ours = theirs."""
    constants: Table[str, str] = field(default_factory=dict)
    """Ours = the value of every row."""
    layout: Layout = field(default_factory=Layout)
    parts: Table[str, str] = field(default_factory=dict)
    """One of ``PARTS`` = theirs."""
    car: str | None = None
    """Their column of whole cars in one cell, such as ``1966 Wexcombe Sedge de luxe``."""
    car_words: bool = False
    """Of a car that the market has no name for, the first word is the make, the second the model."""
    option_columns: Table[str, str] = field(default_factory=dict)
    """Option code = their yes/no column."""
    packed_options: str | None = None
    """Their column that lists options."""
    option_separator: str = ";"
    option_words: Table[str, str] = field(default_factory=dict)
    charges: tuple[Charge, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what names nothing or contradicts itself."""
        where = f"the mapping of {self.source!r}"
        fillable = [name for name in COLUMNS if name not in _MADE_BY_THE_STORE]
        _only(where, "columns", self.columns, fillable)
        _only(where, "constants", self.constants, fillable)
        _only(where, "parts", self.parts, list(PARTS))
        _only(where, "words", self.words, WORD_COLUMNS)
        _only(where, "options.columns", self.option_columns, OPTION_CODES)
        twice = sorted(set(self.columns) & set(self.constants))
        if twice:
            raise MappingError(
                f"{where} takes {', '.join(twice)} from a column and from a constant; keep one"
            )
        if "options" in self.columns and (self.option_columns or self.packed_options is not None):
            raise MappingError(f"{where} takes options both from [columns] and from [options]; keep one")
        _one_of(where, "dates.order", self.date_order, (None, *ORDERS))
        _one_of(where, "numbers.decimal", self.decimal, (".", ","))
        _one_of(where, "units.odometer_km", self.odometer_unit, (*DISTANCE_UNITS, UNKNOWN_UNIT))
        _one_of(where, "units.amount", self.amount_unit, tuple(AMOUNT_UNITS))
        _one_of(where, "units.year", self.year_unit, YEAR_UNITS)
        _one_of(where, "encoding", self.layout.encoding, (None, *ENCODINGS))

    def apply(self, frame: pl.DataFrame, names: CarNames = CarNames()) -> pl.DataFrame:  # noqa: B008 - frozen
        """A table of theirs as columns of ours, mostly text, for the contract's ``check``; see
        ``as_written``.

        Raises ``MappingError`` when a column that the mapping names is absent.

        >>> mapping = Mapping("notes", {"make": "Marque", "amount": "Paid"}, {"country": "GB"})
        >>> mapping.apply(pl.DataFrame({"Marque": ["Corvane"], "Paid": ["£4,250"]})).row(0, named=True)
        {'source': 'notes', 'country': 'GB', 'make': 'Corvane', 'amount': '4250', 'currency': 'GBP'}
        """
        packed = [] if self.packed_options is None else [self.packed_options]
        self.refuse_absent(frame.columns)
        nested = [name for name in (*self.option_columns.values(), *packed) if frame.schema[name].is_nested()]
        if nested:
            raise MappingError(
                f"the mapping of {self.source!r} takes options from {', '.join(nested)}, whose cells are no "
                "text; a column of lists goes into [columns] as options"
            )
        frame = with_parts(frame, self.columns, self.parts)
        values: dict[str, pl.Expr] = {"source": pl.lit(self.source)}
        values |= {ours: pl.lit(value) for ours, value in self.constants.items()}
        values |= {ours: pl.col(theirs) for ours, theirs in self.columns.items()}
        if "model" in self.columns and self.columns["model"] == self.columns.get("year"):
            bare = pl.col(self.columns["model"]).cast(pl.String).str.replace(YEAR_OF_MODEL, "")
            values["model"] = bare.str.strip_chars(" ,;-()")
        options = self._options()
        if options is not None:
            values["options"] = options
        named = frame.lazy().select(value.alias(name) for name, value in values.items()).collect()
        if self.car is not None and frame.schema[self.car] == pl.String:
            named = with_cars(named, frame[self.car], names, by_words=self.car_words)
        return as_written(named, self, for_all=self.constants)

    def refuse_absent(self, columns: Sequence[str]) -> None:
        """Raise ``MappingError`` when a column that the mapping names is none of a table's."""
        absent = sorted(self.theirs - set(columns))
        if absent:
            raise MappingError(
                f"the mapping of {self.source!r} names columns that the table does not have: "
                f"{', '.join(absent)}{did_you_mean(absent[0], columns)}; it has: {', '.join(columns)}"
            )

    @property
    def theirs(self) -> set[str]:
        """Every column of theirs that it names."""
        others = [name for name in (self.car, self.packed_options) if name is not None]
        return {*self.columns.values(), *self.parts.values(), *self.option_columns.values(), *others}

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

    def _options(self) -> pl.Expr | None:
        if not self.option_columns and self.packed_options is None:
            return None
        yes = [*yes_and_no()[0], *self.yes]
        ticked = [
            pl.when(pl.col(theirs).cast(pl.String).str.strip_chars().str.to_lowercase().is_in(yes)).then(
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


def with_parts(frame: pl.DataFrame, columns: Table[str, str], parts: Table[str, str]) -> pl.DataFrame:
    """A table in which the columns that ``parts`` belong to hold them too: a day with its month and year, a
    reading with its unit.

    >>> table = pl.DataFrame({"Day": ["4"], "Month": ["Mar"], "Year": ["2018"]})
    >>> with_parts(table, {"event_date": "Day"}, {"event_month": "Month", "event_year": "Year"})["Day"][0]
    '2018-Mar-4'
    """

    def text(theirs: str) -> pl.Expr:
        return pl.col(theirs).cast(pl.String).str.strip_chars().replace("", None)

    told = []
    if "event_date" in columns and {"event_month", "event_year"} & set(parts):
        order = [parts.get("event_year"), parts.get("event_month"), columns["event_date"]]
        dates = [text(theirs) for theirs in order if theirs is not None]
        told.append(pl.concat_str(dates, separator="-", ignore_nulls=True).alias(columns["event_date"]))
    if "odometer_km" in columns and "odometer_unit" in parts:
        reading = [text(columns["odometer_km"]), text(parts["odometer_unit"]).fill_null("")]
        told.append(pl.concat_str(reading, separator=" ").str.strip_chars().alias(columns["odometer_km"]))
    return frame.with_columns(told) if told else frame


def _only(where: str, entry: str, table: Table[str, Any], allowed: tuple[str, ...] | list[str]) -> None:
    """Refuse a table of a mapping file that holds names beside the allowed.

    Raises:
        MappingError: it does.
    """
    unknown = sorted(set(table) - set(allowed))
    if unknown:
        near = did_you_mean(unknown[0], allowed)
        raise MappingError(
            f"{where} has unknown names in [{entry}]: {', '.join(unknown)}{near}; known: {', '.join(allowed)}"
        )


def _one_of(where: str, entry: str, value: str | None, allowed: tuple[str | None, ...]) -> None:
    if value not in allowed:
        names = ", ".join(repr(name) for name in allowed if name is not None)
        raise MappingError(f"{where}: {entry} is {value!r}; expected one of {names}")
