"""Mappings as small TOML files that a person can read, edit and reuse; one source, one file.

``[columns]`` says which of their columns each of ours comes from, ``[constants]`` what is the same for every
row; then come ``[dates]``, ``[numbers]``, ``[units]``, ``[words.<column>]``, ``[options]``, and
``[[premium]]`` and ``[[commission]]`` for what the source charges. Everything but the source may be left out.
"""

import os
import tomllib
from collections.abc import Iterator, Sequence
from collections.abc import Mapping as Table
from copy import deepcopy
from dataclasses import fields
from datetime import date, time
from operator import attrgetter
from pathlib import Path
from typing import Annotated, Any, Final, Literal, Self

from pydantic import AfterValidator, BaseModel, BeforeValidator, Field, ValidationError, model_validator

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


_Word = Annotated[str, BeforeValidator(_word)]
_Words = dict[str, _Word]
_Meanings = Annotated[_Words, AfterValidator(lambda words: {word.lower(): words[word] for word in words})]


class _MappingTable(BaseModel, extra="forbid"):
    pass


class _Car(_MappingTable):
    column: str | None = None
    unknown: Literal["refuse", "by words"] = "refuse"


class _Dates(_MappingTable):
    order: str | None = None


class _Numbers(_MappingTable):
    decimal: str = "."


class _Units(_MappingTable):
    odometer_km: str = "km"
    amount: str = "one"
    year: str = "year"


class _Options(_MappingTable):
    packed: str | None = None
    separator: str = ";"
    yes: tuple[Annotated[_Word, AfterValidator(str.lower)], ...] = ()
    columns: _Words = Field(default_factory=dict)
    words: _Meanings = Field(default_factory=dict)


class _File(_MappingTable):
    """A mapping file; what may stand in its columns and words is for ``Mapping`` to say."""

    source: str = ""
    sheet: str | None = None
    delimiter: str | None = None
    encoding: str | None = None
    header_row: Annotated[int, Field(strict=True)] | None = None
    columns: _Words = Field(default_factory=dict)
    car: _Car = _Car()
    parts: _Words = Field(default_factory=dict)
    constants: _Words = Field(default_factory=dict)
    dates: _Dates = _Dates()
    numbers: _Numbers = _Numbers()
    units: _Units = _Units()
    words: dict[str, _Meanings] = Field(default_factory=dict)
    options: _Options = _Options()
    premium: tuple[dict[str, Any], ...] = ()
    commission: tuple[dict[str, Any], ...] = ()

    @model_validator(mode="after")
    def _of_a_source(self) -> Self:
        if not self.source:
            raise ValueError('a mapping names its source: source = "where the file comes from"')
        return self


_PLACES: Final = {
    "source": "source", "columns": "columns", "parts": "parts", "constants": "constants", "words": "words",
    "car": "car.column", "date_order": "dates.order", "decimal": "numbers.decimal",
    "odometer_unit": "units.odometer_km", "amount_unit": "units.amount", "year_unit": "units.year",
    "packed_options": "options.packed", "option_separator": "options.separator", "yes": "options.yes",
    "option_columns": "options.columns", "option_words": "options.words",
    **{f"layout.{field.name}": field.name for field in fields(Layout)},
}  # fmt: skip
"""Where each field of a ``Mapping`` stands in its file, but for the words of cars and the charges."""

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
    defaults = _File.model_construct().model_dump()
    file = deepcopy(defaults)
    for field, place in _PLACES.items():
        table, _, key = place.rpartition(".")
        (file[table] if table else file)[key] = attrgetter(field)(mapping)
    file["car"]["unknown"] = "by words" if mapping.car_words else "refuse"
    sections = _sections("", file, defaults)
    return "\n".join([*sections, *map(_charge_lines, mapping.charges)])


def _sections(name: str, table: Table[str, Any], defaults: Table[str, Any]) -> Iterator[str]:
    """The lines of a table of a file where they are other than the defaults, and those of each of its own
    tables."""
    own = {key: value for key, value in table.items() if value != defaults.get(key)}
    inner = {key: own.pop(key) for key, value in table.items() if key in own and isinstance(value, dict)}
    if own:
        yield (f"[{name}]\n" if name else "") + _lines(own)
    for key, values in inner.items():
        yield from _sections(f"{name}.{key}" if name else key, values, defaults.get(key) or {})


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
        "until": charge.valid_until,
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
    values = {field: attrgetter(place)(file) for field, place in _PLACES.items() if "." not in field}
    return Mapping(
        **values,
        layout=Layout(file.sheet, file.delimiter, file.encoding, file.header_row),
        car_words=file.car.unknown == "by words",
        charges=tuple(charges),
    )
