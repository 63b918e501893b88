"""Numbers typed any way into a field of a page: what cannot be read is told under the field, and loses
nothing else."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any, TypeVar

import streamlit as st

from pricing.car import today
from pricing.decisions.typed_amounts import typed_amount
from pricing.errors import PricingError
from pricing.records.entered_amounts import entered
from pricing.snapshot import Snapshot
from pricing.words.plain_text import escaped, sentence

LONGEST = 40
"""Characters of a number."""

Read = TypeVar("Read")


def ask_money(label: str, key: str, name: str, snapshot: Snapshot, **shown: Any) -> Decimal | None:
    """A price in the market's base currency, typed with or without a currency; nothing where none is said
    or it cannot be read."""

    def read(text: str) -> Decimal:
        typed = typed_amount(text, name)
        amount = Decimal(0) if typed is None else typed.in_base(snapshot, today())
        entered(name, amount, snapshot.base_currency)
        return amount

    return ask_typed(label, key, read, placeholder="as 4,650 or £4.65k", **shown)


def ask_amount_in(
    currency: str, label: str, key: str, name: str, *, cost: bool, **shown: Any
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

    return ask_typed(f"{label} ({currency})", key, read, **{"placeholder": "not said"} | shown)


def ask_typed(label: str, key: str, read: Callable[[str], Read], **shown: Any) -> Read | None:
    """A field of text, read; nothing where it says nothing, and a sentence under it where it cannot be
    read."""
    if not isinstance(st.session_state.get(key, ""), str | None):
        st.session_state[key] = str(st.session_state[key])
    text = st.text_input(label, None, LONGEST, key=key, **shown)
    if text is None or not text.strip():
        return None
    try:
        return read(text)
    except PricingError as error:
        st.error(escaped(sentence(str(error))))
        return None
