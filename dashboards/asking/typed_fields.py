"""Numbers typed any way into a field of a page: what cannot be read is told under the field, and loses
nothing else."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

import streamlit as st

from pricing.car import today
from pricing.decisions.typed_amounts import typed_amount
from pricing.errors import PricingError
from pricing.intake.written.dates import read_year
from pricing.intake.written.numbers import number, tidied
from pricing.records.entered_amounts import entered
from pricing.snapshot import Snapshot
from pricing.words.language.plain_text import escaped, sentence
from pricing.words.language.reader import day_field_form

LONGEST = 40
"""Characters of a number."""

Read = TypeVar("Read")


def ask_money(label: str, key: str, name: str, snapshot: Snapshot, **options: Any) -> Decimal | None:
    """A price in the market's base currency, typed with or without a currency; nothing where none is said
    or it cannot be read."""

    def read(text: str) -> Decimal:
        typed = typed_amount(text, name)
        amount = Decimal(0) if typed is None else typed.in_base(snapshot, today())
        entered(name, amount, snapshot.base_currency)
        return amount

    return ask_typed(label, key, read, placeholder="as 4,650 or £4.65k", **options)


def ask_amount_in(
    currency: str, label: str, key: str, name: str, *, cost: bool, **options: Any
) -> Decimal | None:
    """A price, or a ``cost`` beside one, in a currency that is said beside it; of another one it is
    refused."""

    def read(text: str) -> Decimal:
        typed = typed_amount(text, name)
        if typed is None:
            return Decimal(0)
        if typed.currency not in (None, currency):
            raise PricingError(f"the {name} is in {typed.currency}: type it in {currency}, as 4650")
        entered(name, typed.amount, currency, cost=cost)
        return typed.amount

    return ask_typed(f"{label} ({currency})", key, read, **{"placeholder": "not said"} | options)


def ask_day(label: str, value: date | str | None, **options: Any) -> date | None:
    """A day, in the digits and the order of the visitor's locale; nothing where none is said."""
    day = st.date_input(label, value, format=day_field_form(), **options)
    return day if isinstance(day, date) else None


def ask_number(
    label: str, key: str, name: str, least: float, most: float, value: float | None = None, **options: Any
) -> float | None:
    """A number that is no amount, such as a per cent or a score, between two bounds; ``value`` stands in the
    field at first."""

    def read(text: str) -> float:
        entered_number = read_number(text, name)
        if not least <= entered_number <= most:
            raise PricingError(f"the {name} lies between {least:g} and {most:g}: got {text!r}; type another")
        return entered_number

    return ask_typed(label, key, read, None if value is None else f"{value:g}", **options)


def read_number(text: str, name: str) -> float:
    """A number as people write it, with either decimal mark.

    Raises:
        PricingError: it is none.

    >>> read_number("62,5", "score"), read_number("-7.5 %", "adjustment")
    (62.5, -7.5)
    """
    amount = number(tidied(text).removesuffix("%").strip(), grouped=False)
    if amount is None:
        raise PricingError(f"the {name} is no number: got {text!r}; type it as 62 or 62.5")
    return float(amount)


def ask_year(label: str, key: str, **options: Any) -> int | None:
    """A model year."""
    return ask_typed(label, key, read_model_year, **options)


def read_model_year(text: str) -> int:
    """A model year as people write it.

    Raises:
        PricingError: it is none.

    >>> read_model_year("'66"), read_model_year("1966/7")
    (1966, 1966)
    """
    bare = text.strip()
    plain = bare.isascii() and bare.isdigit() and len(bare) == 4
    year = int(bare) if plain else read_year(bare, today().year)
    if year is None:  # one that no car can be of is refused by the rules of the car, as everywhere
        raise PricingError(f"the year is none: got {text!r}; type it as 1966 or 66")
    return year


def ask_typed(
    label: str, key: str, read: Callable[[str], Read], value: str | None = None, **options: Any
) -> Read | None:
    """A field of text, read; nothing where it says nothing, and a sentence under it where it cannot be
    read."""
    held = st.session_state.get(key)
    if not isinstance(held, str | None):
        st.session_state[key] = f"{held:.0f}" if held == round(held) else str(held)
    text = st.text_input(label, value, LONGEST, key=key, **options)
    if text is None or not text.strip():
        return None
    try:
        return read(text)
    except PricingError as error:
        st.error(escaped(sentence(str(error))))
        return None
