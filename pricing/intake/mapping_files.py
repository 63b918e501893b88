"""Mappings as small TOML files that a person can read, edit and reuse; one source, one file.

``[columns]`` says which of their columns each of ours comes from, ``[constants]`` what is the same for every
row; then come ``[dates]``, ``[numbers]``, ``[units]``, ``[words.<column>]``, ``[options]``, and
``[[premium]]`` and ``[[commission]]`` for what the source charges. Everything but the source may be left out.
"""

import os
import tomllib
from collections.abc import Mapping as Table
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from pricing.errors import FileError, MappingError, MoneyError
from pricing.intake.layout import Layout
from pricing.intake.mapping import Mapping, only
from pricing.money.charges import Charge, read_charge
from pricing.toml_text import toml_line
from pricing.untrusted.documents import read_toml
from pricing.untrusted.files import inside

KEYS: Final = {
    "source": str, "sheet": str, "delimiter": str, "encoding": str, "header_row": int, "columns": dict,
    "car": dict, "parts": dict,
    "constants": dict, "dates": dict, "numbers": dict, "units": dict, "words": dict, "options": dict,
    "premium": list, "commission": list,
}  # fmt: skip


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


def recognised(headings: Sequence[str], kept: Sequence[Mapping]) -> Mapping | None:
    """Of the mappings kept of earlier files the one whose columns a file has all of, that of most columns
    first.

    >>> hall = Mapping("hall", {"make": "Marque", "model": "Model", "amount": "Paid"})
    >>> recognised(["Marque", "Model", "Paid", "Colour"], [hall]).source, recognised(["Marque"], [hall])
    ('hall', None)
    """
    fitting = [mapping for mapping in kept if len(mapping.theirs) >= 3 and mapping.theirs <= set(headings)]
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
    for key, value in table.items():
        if key not in KEYS:
            raise MappingError(f"unknown entry {key!r}; expected some of {', '.join(KEYS)}")
        if not isinstance(value, KEYS[key]):
            raise MappingError(f"{key} must be a {KEYS[key].__name__}, got {value!r}")
    if not table.get("source"):
        raise MappingError('a mapping names its source: source = "where the file comes from"')
    options = table.get("options", {})
    only("the mapping", "options", options, ("yes", "columns", "packed", "separator", "words"))
    car = table.get("car", {})
    only("the mapping", "car", car, ("column", "unknown"))
    if car.get("unknown", "refuse") not in ("refuse", "by words"):
        raise MappingError(f"car.unknown is {car['unknown']!r}; expected one of 'refuse', 'by words'")
    only("the mapping", "dates", table.get("dates", {}), ("order",))
    only("the mapping", "numbers", table.get("numbers", {}), ("decimal",))
    only("the mapping", "units", table.get("units", {}), ("odometer_km", "year", "amount"))
    source = table["source"]
    charges = []
    for kind in ("premium", "commission"):
        for charge in table.get(kind, []):
            only("the mapping", kind, charge, ("from", "currency", "tiers", "tax", "minimum"))
            charges.append(read_charge(charge | {"source": source, "kind": kind}))
    return Mapping(
        source=source,
        columns=_words_of("columns", table.get("columns", {})),
        constants=_words_of("constants", table.get("constants", {})),
        layout=Layout(
            table.get("sheet"), table.get("delimiter"), table.get("encoding"), table.get("header_row")
        ),
        parts=_words_of("parts", table.get("parts", {})),
        car=car.get("column"),
        car_words=car.get("unknown") == "by words",
        date_order=table.get("dates", {}).get("order"),
        decimal=table.get("numbers", {}).get("decimal", "."),
        odometer_unit=table.get("units", {}).get("odometer_km", "km"),
        amount_unit=table.get("units", {}).get("amount", "one"),
        year_unit=table.get("units", {}).get("year", "year"),
        words={
            column: {theirs.lower(): ours for theirs, ours in _words_of(f"words.{column}", words).items()}
            for column, words in table.get("words", {}).items()
        },
        option_columns=_words_of("options.columns", options.get("columns", {})),
        packed_options=options.get("packed"),
        option_separator=options.get("separator", ";"),
        option_words={
            theirs.lower(): ours
            for theirs, ours in _words_of("options.words", options.get("words", {})).items()
        },
        yes=tuple(str(word).lower() for word in options.get("yes", ())),
        charges=tuple(charges),
    )


def _words_of(entry: str, table: object) -> dict[str, str]:
    """A table of text to text; dates and numbers become their text."""
    if not isinstance(table, dict) or any(isinstance(value, (dict, list)) for value in table.values()):
        raise MappingError(f"[{entry}] must hold lines of the form name = value")
    return {
        str(name): str(value).lower() if isinstance(value, bool) else str(value)
        for name, value in table.items()
    }
