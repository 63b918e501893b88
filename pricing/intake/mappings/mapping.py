"""Their columns into ours, by a mapping that a person wrote or settled once for a source.

It says which of their columns each of ours comes from and what is the same for every row; then how dates,
numbers, distances, words and options are written, and what the source charges.
"""

from collections.abc import Mapping as Table
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

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
        for entry, names, allowed in (
            ("columns", self.columns, fillable),
            ("constants", self.constants, fillable),
            ("parts", self.parts, list(PARTS)),
            ("words", self.words, WORD_COLUMNS),
            ("options.columns", self.option_columns, OPTION_CODES),
        ):
            if unknown := sorted(set(names) - set(allowed)):
                near = did_you_mean(unknown[0], allowed)
                raise MappingError(
                    f"{where} has unknown names in [{entry}]: {', '.join(unknown)}{near}; known: "
                    f"{', '.join(allowed)}"
                )
        twice = sorted(set(self.columns) & set(self.constants))
        if twice:
            raise MappingError(
                f"{where} takes {', '.join(twice)} from a column and from a constant; keep one"
            )
        if "options" in self.columns and (self.option_columns or self.packed_options is not None):
            raise MappingError(f"{where} takes options both from [columns] and from [options]; keep one")
        for field_in_file, value, known in (
            ("dates.order", self.date_order, ORDERS),
            ("numbers.decimal", self.decimal, (".", ",")),
            ("units.odometer_km", self.odometer_unit, (*DISTANCE_UNITS, UNKNOWN_UNIT)),
            ("units.amount", self.amount_unit, tuple(AMOUNT_UNITS)),
            ("units.year", self.year_unit, YEAR_UNITS),
            ("encoding", self.layout.encoding, tuple(ENCODINGS)),
        ):
            if value is not None and value not in known:
                choices = ", ".join(map(repr, known))
                raise MappingError(f"{where}: {field_in_file} is {value!r}; expected one of {choices}")

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
        constants = {"source": self.source, **self.constants}
        values = {ours: pl.lit(value) for ours, value in constants.items()}
        values |= {ours: pl.col(theirs) for ours, theirs in self.columns.items()}
        if "model" in self.columns and self.columns["model"] == self.columns.get("year"):
            bare = pl.col(self.columns["model"]).cast(pl.String).str.replace(YEAR_OF_MODEL, "")
            values["model"] = bare.str.strip_chars(" ,;-()")
        if self.option_columns or self.packed_options is not None:
            values["options"] = self._options()
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
        if "country" in frame.columns:
            frame = frame.with_columns(word_text(pl.col("country"), known_words()["country"]))
        return frame.with_columns(pl.lit(self.source).alias("source"), *fill)

    def _options(self) -> pl.Expr:
        """The codes of the options that a row has, ticked in columns of their own or listed in one."""
        yes = [*yes_and_no()[0], *self.yes]
        cells = {code: pl.col(theirs).cast(pl.String) for code, theirs in self.option_columns.items()}
        ticked = [
            pl.when(cell.str.strip_chars().str.to_lowercase().is_in(yes)).then(pl.lit(code))
            for code, cell in cells.items()
        ]
        lists = [pl.concat_list(ticked).list.drop_nulls()] if ticked else []
        if self.packed_options is not None:
            words = {**{code.replace("_", " "): code for code in OPTION_CODES}, **self.option_words}
            text = pl.element().str.strip_chars()
            codes = text.str.to_lowercase().replace_strict(words, default=None, return_dtype=pl.String)
            packed = pl.col(self.packed_options).cast(pl.String).str.split(self.option_separator)
            named = packed.list.eval(pl.coalesce(codes, text))
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

    joined = []
    if "event_date" in columns and {"event_month", "event_year"} & set(parts):
        order = [parts.get("event_year"), parts.get("event_month"), columns["event_date"]]
        dates = [text(theirs) for theirs in order if theirs is not None]
        joined.append(pl.concat_str(dates, separator="-", ignore_nulls=True).alias(columns["event_date"]))
    if "odometer_km" in columns and "odometer_unit" in parts:
        reading = [text(columns["odometer_km"]), text(parts["odometer_unit"]).fill_null("")]
        joined.append(pl.concat_str(reading, separator=" ").str.strip_chars().alias(columns["odometer_km"]))
    return frame.with_columns(joined) if joined else frame
