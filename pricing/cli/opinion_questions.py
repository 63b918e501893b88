"""Quartiles of a state asked for at the terminal, price by price."""

from typing import TYPE_CHECKING, Final

import typer

from pricing.cli.printing.frames import say
from pricing.errors import OpinionError

if TYPE_CHECKING:
    from decimal import Decimal

KEYS: Final = ("above", "same", "below")
"""What is typed for each of ``elicitation.ANSWERS``."""


def asked_span(band: str, currency: str) -> str:
    """Ask until the quartiles are known and confirmed: ``LOW:MIDDLE:HIGH``, between which half lies.

    Raises:
        OpinionError: no such state, or no range in which prices could lie.
    """
    from pricing.nearest import did_you_mean
    from pricing.opinions.elicitation import ANSWERS, Bisection
    from pricing.vocabulary import CONDITION_BANDS
    from pricing.words.opinions import asked_sentence, told_sentence

    if band not in CONDITION_BANDS:
        near = did_you_mean(band, CONDITION_BANDS)
        raise OpinionError(f"no state {band!r}{near}; expected one of: {', '.join(CONDITION_BANDS)}")
    while True:
        asked = Bisection.between(
            _price(f"No such car ({band}) sells below, in {currency}", currency),
            _price("nor above", currency),
        )
        while not asked.done:
            say(asked_sentence(asked, band, currency))
            asked = asked.answered(ANSWERS[KEYS.index(_one_of(KEYS))])
        say(told_sentence(asked.quartiles, currency))
        if _one_of(("yes", "no")) == "yes":
            return ":".join(f"{price:f}" for price in asked.quartiles)


def _price(question: str, currency: str) -> "Decimal":
    from pricing.decisions.typed_amounts import typed_amount

    typed = typed_amount(typer.prompt(question), "price")
    if typed is None or typed.currency not in (None, currency):
        raise OpinionError(f"the price is asked for in {currency}")
    return typed.amount


def _one_of(choices: tuple[str, ...]) -> str:
    """What is typed, once it is one of the choices, or begins one."""
    while True:
        typed = typer.prompt(", ".join(choices)).strip().lower()
        if found := [choice for choice in choices if typed and choice.startswith(typed)]:
            return found[0]
