"""Mappings as small TOML files that a person can read, edit and reuse; one source, one file.

``[columns]`` says which of their columns each of ours comes from, ``[constants]`` what is the same for every
row; then come ``[dates]``, ``[numbers]``, ``[units]``, ``[words.<column>]``, ``[options]``, and
``[[premium]]`` and ``[[commission]]`` for what the source charges. Everything but the source may be left out.
"""

import os
import tomllib
from collections.abc import Mapping as Table
from collections.abc import Sequence
from datetime import date, time
from pathlib import Path
from typing import Annotated, Any, Final, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, Strict, ValidationError, model_validator

from pricing.errors import FileError, MappingError, MoneyError
from pricing.intake.mappings.mapping import Mapping
from pricing.intake.tables.layout import Layout
from pricing.money.charges import Charge, read_charge
from pricing.nearest import did_you_mean
from pricing.toml_text import toml_line
from pricing.untrusted.documents import read_toml
from pricing.untrusted.files import inside
from pricing.validation import sentence_of


def _word(value: object) -> object:
    """A date or a number of TOML as its text."""
    if isinstance(value, bool):
        return str(value).lower()
    return str(value) if isinstance(value, int | float | date | time) else value


_Words = dict[str, Annotated[str, BeforeValidator(_word)]]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid")


class _Car(_Table):
    column: str | None = None
    unknown: Literal["refuse", "by words"] = "refuse"


class _Dates(_Table):
    order: str | None = None


class _Numbers(_Table):
    decimal: str = "."


class _Units(_Table):
    odometer_km: str = "km"
    amount: str = "one"
    year: str = "year"


class _Options(_Table):
    yes: tuple[Annotated[str, BeforeValidator(_word)], ...] = ()
    columns: _Words = Field(default_factory=dict)
    packed: str | None = None
    separator: str = ";"
    words: _Words = Field(default_factory=dict)


class _File(_Table):
    """A mapping file; what may stand in its columns and words is for ``Mapping`` to say."""

    source: str = ""
    sheet: str | None = None
    delimiter: str | None = None
    encoding: str | None = None
    header_row: Annotated[int, Strict()] | None = None
    columns: _Words = Field(default_factory=dict)
    car: _Car = _Car()
    parts: _Words = Field(default_factory=dict)
    constants: _Words = Field(default_factory=dict)
    dates: _Dates = _Dates()
    numbers: _Numbers = _Numbers()
    units: _Units = _Units()
    words: dict[str, _Words] = Field(default_factory=dict)
    options: _Options = _Options()
    premium: tuple[dict[str, Any], ...] = ()
    commission: tuple[dict[str, Any], ...] = ()

    @model_validator(mode="after")
    def _of_a_source(self) -> Self:
        if not self.source:
            raise ValueError('a mapping names its source: source = "where the file comes from"')
        return self


KEYS: Final = tuple(_File.model_fields)
"""What a mapping file may hold."""

_TABLES: Final = (_File, _Car, _Dates, _Numbers, _Units, _Options)
_KNOWN: Final = [name for kind in _TABLES for name in kind.model_fields]


def read_mapping(path: Path) -> Mapping:
    """A mapping from its file; raises ``MappingError`` that says what is wrong with it."""
    try:
        table = read_toml(path)
    except FileError as error:
        raise MappingError(str(error)) from None
    try:
        return _mapping(table)
    except (MappingError, MoneyError) as error:
        raise MappingError(f"{path}: {error}") from None


def parse_mapping(text: str) -> Mapping:
    """A mapping from the text of its file; raises ``MappingError`` that says what is wrong with it.

    >>> parse_mapping('source = "hall"').source
    'hall'
    """
    try:
        return _mapping(tomllib.loads(text))
    except (ValueError, RecursionError, MoneyError) as error:
        why = "it is nested too deeply" if isinstance(error, RecursionError) else error
        raise MappingError(f"the mapping cannot be read: {why}") from None


def recognised(headings: Sequence[str], mappings: Sequence[Mapping]) -> Mapping | None:
    """Of the mappings kept of earlier files the one whose columns a file has all of, that of most columns
    first.

    >>> hall = Mapping("hall", {"make": "Marque", "model": "Model", "amount": "Paid"})
    >>> recognised(["Marque", "Model", "Paid", "Colour"], [hall]).source, recognised(["Marque"], [hall])
    ('hall', None)
    """
    fitting = [
        mapping for mapping in mappings if len(mapping.theirs) >= 3 and mapping.theirs <= set(headings)
    ]
    return max(fitting, key=lambda mapping: len(mapping.theirs), default=None)


def mapping_beside(path: Path) -> Mapping | None:
    """The mapping that lies beside a file as ``<name>.mapping.toml``, or beside its folder; ``None``
    without."""
    beside = path.parent / f"{path.name}.mapping.toml"
    return read_mapping(beside) if os.path.isfile(beside) and inside(path.parent, beside) else None


def write_mapping_text(text: str, path: Path, *, overwrite: bool = False) -> None:
    """Write the text of a mapping file, over another one only where that is wanted."""
    try:
        with path.open("w" if overwrite else "x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise FileError(
            f"{path} is there already; edit it, take it away, or write it anew with: pricing map --overwrite"
        ) from None
    except OSError as error:
        raise FileError(f"{path} cannot be written: {error.strerror}") from None


def mapping_text(mapping: Mapping) -> str:
    """A mapping as the text of its file; ``read_mapping`` gives the same mapping back.

    >>> mapping = Mapping("notes", {"make": "Marque"}, {"country": "GB"}, date_order="day-month-year")
    >>> print(mapping_text(mapping))
    source = "notes"
    <BLANKLINE>
    [columns]
    make = "Marque"
    <BLANKLINE>
    [constants]
    country = "GB"
    <BLANKLINE>
    [dates]
    order = "day-month-year"
    <BLANKLINE>
    """
    layout = mapping.layout
    top: dict[str, Any] = {"source": mapping.source, "sheet": layout.sheet, "delimiter": layout.delimiter}
    top |= {"encoding": layout.encoding, "header_row": layout.header_row}
    options: dict[str, Any] = {"packed": mapping.packed_options}
    options["separator"] = mapping.option_separator if mapping.option_separator != ";" else None
    options["yes"] = list(mapping.yes) if mapping.yes else None
    parts = [
        _lines(top),
        _section("columns", mapping.columns),
        _section("car", {"column": mapping.car, "unknown": "by words" if mapping.car_words else None}),
        _section("parts", mapping.parts),
        _section("constants", mapping.constants),
        _section("dates", {"order": mapping.date_order}),
        _section("numbers", {"decimal": mapping.decimal if mapping.decimal != "." else None}),
        _section(
            "units",
            {
                "odometer_km": mapping.odometer_unit if mapping.odometer_unit != "km" else None,
                "amount": mapping.amount_unit if mapping.amount_unit != "one" else None,
                "year": mapping.year_unit if mapping.year_unit != "year" else None,
            },
        ),
        *(_section(f"words.{column}", words) for column, words in mapping.words.items()),
        _section("options", options),
        _section("options.columns", mapping.option_columns),
        _section("options.words", mapping.option_words),
        *(_charge_lines(charge) for charge in mapping.charges),
    ]
    return "\n".join(part for part in parts if part)


def _section(name: str, table: Table[str, Any]) -> str:
    lines = _lines(table)
    return f"[{name}]\n{lines}" if lines else ""


def _lines(table: Table[str, Any]) -> str:
    return "".join(toml_line(name, value) for name, value in table.items() if value is not None)


def _charge_lines(charge: Charge) -> str:
    tiers = ", ".join(
        f"{{ rate = {tier.rate} }}"
        if tier.up_to is None
        else f"{{ rate = {tier.rate}, up_to = {tier.up_to} }}"
        for tier in charge.tiers
    )
    terms = {
        "from": charge.valid_from,
        "currency": charge.currency,
        "tax": charge.tax,
        "minimum": charge.minimum,
    }
    return f"[[{charge.kind}]]\n{_lines(terms)}tiers = [{tiers}]\n"


def _mapping(table: dict[str, Any]) -> Mapping:
    try:
        file = _File.model_validate(table)
    except ValidationError as error:
        wrong = error.errors(include_url=False)[0]
        near = did_you_mean(str(wrong["loc"][-1]), _KNOWN) if wrong["type"] == "extra_forbidden" else ""
        raise MappingError(f"{sentence_of(error, table)}{near}") from None
    charges = [
        read_charge(charge | {"source": file.source, "kind": kind})
        for kind, tables in (("premium", file.premium), ("commission", file.commission))
        for charge in tables
    ]
    return Mapping(
        source=file.source,
        columns=file.columns,
        constants=file.constants,
        layout=Layout(file.sheet, file.delimiter, file.encoding, file.header_row),
        parts=file.parts,
        car=file.car.column,
        car_words=file.car.unknown == "by words",
        date_order=file.dates.order,
        decimal=file.numbers.decimal,
        odometer_unit=file.units.odometer_km,
        amount_unit=file.units.amount,
        year_unit=file.units.year,
        words={column: _in_lower_case(words) for column, words in file.words.items()},
        option_columns=file.options.columns,
        packed_options=file.options.packed,
        option_separator=file.options.separator,
        option_words=_in_lower_case(file.options.words),
        yes=tuple(word.lower() for word in file.options.yes),
        charges=tuple(charges),
    )


def _in_lower_case(words: Table[str, str]) -> dict[str, str]:
    return {theirs.lower(): ours for theirs, ours in words.items()}
