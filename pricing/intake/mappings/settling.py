"""Settling what a proposed mapping asks: an answer goes into the mapping, and its question out of it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from pricing.errors import MappingError
from pricing.intake.mappings.mapping import Mapping as Columns
from pricing.intake.mappings.proposals import Proposal
from pricing.intake.mappings.questions import CHOICES, MAY_BE_UNKNOWN, UNKNOWN, premium_question
from pricing.intake.written.table import YEAR_UNITS
from pricing.intake.written.words import WORD_COLUMNS
from pricing.money.charges import Charge, Tier
from pricing.nearest import did_you_mean
from pricing.records.contract import COLUMNS, FIRST_SALE

_FIELDS: Final = {
    "order": "date_order", "odometer_km": "odometer_unit", "amount_unit": "amount_unit",
    "decimal": "decimal", "year": "year_unit",
}  # fmt: skip
"""By answer the field of a mapping that it goes into."""


def with_answers(proposal: Proposal, answers: Mapping[str, str]) -> Proposal:
    """A proposal with what holds for the whole file: by column of ours the value of every row, or ``order``
    of dates, ``odometer_km`` (its unit), ``year`` (year or age), ``amount_unit``, ``decimal``, ``premium``
    (the buyer's, in per cent with its tax), ``car`` (by words, or refuse), and ``column:word`` for what a
    word of theirs means. ``unknown`` leaves channel, country or a word unknown.

    Raises:
        MappingError: there is no such name, or its value is none of those it may have.

    >>> from pricing.intake.mappings.questions import MappingQuestion
    >>> questions = (MappingQuestion("constants", "channel", "no column says it"),)
    >>> proposal = Proposal(Columns("club", {"make": "Make"}), questions)
    >>> with_answers(proposal, {"channel": "private"}).mapping.constants
    {'channel': 'private'}
    >>> with_answers(proposal, {"channel": "unknown"}).questions
    ()
    >>> with_answers(proposal, {"condition_band:tatty": "project"}).mapping.words
    {'condition_band': {'tatty': 'project'}}
    """
    mapping = proposal.mapping
    for name, value in answers.items():
        if name != "premium":
            mapping = _answered(mapping, name, value)
    if "premium" in answers:
        mapping = replace(mapping, charges=_charges(mapping, proposal.currencies, answers["premium"]))
    answered = {"premium", *map(str.lower, answers)}
    left = [question for question in proposal.questions if question.name.lower() not in answered]
    return replace(proposal, mapping=mapping, questions=(*left, *premium_question(mapping)))


def _answered(mapping: Columns, name: str, value: str) -> Columns:
    column, colon, word = name.partition(":")
    choices = CHOICES.get(column)
    if value == UNKNOWN and (colon or name in MAY_BE_UNKNOWN):
        constants = {ours: constant for ours, constant in mapping.constants.items() if ours != name}
        return replace(mapping, constants=constants)
    if choices is not None and value not in choices:
        few = f" is one of {', '.join(choices)}" if len(choices) < 10 else " cannot be that"
        raise MappingError(f"{name}{few}; got {value!r}{did_you_mean(value, choices)}")
    if colon:
        if column not in WORD_COLUMNS:
            near = did_you_mean(column, WORD_COLUMNS)
            raise MappingError(f"words are told of {', '.join(WORD_COLUMNS)}; got {column!r}{near}")
        own = {**mapping.words.get(column, {}), word.lower(): value}
        return replace(mapping, words={**mapping.words, column: own})
    if name in _FIELDS and (name != "year" or value in YEAR_UNITS):
        field: dict[str, Any] = {_FIELDS[name]: value}
        return replace(mapping, **field)
    if name == "car":
        return replace(mapping, car_words=value == "by words")
    if name not in COLUMNS:
        near = did_you_mean(name, (*COLUMNS, *CHOICES, "premium"))
        raise MappingError(f"no answer is called {name!r}{near}; see: pricing format --mapping")
    columns = {ours: theirs for ours, theirs in mapping.columns.items() if ours != name}
    return replace(mapping, columns=columns, constants={**mapping.constants, name: value})


def _charges(mapping: Columns, currencies: Sequence[str], per_cent: str) -> tuple[Charge, ...]:
    """What the source charges, with a buyer's premium of one rate at any price, on all of its sales."""
    try:
        rate = Decimal(per_cent.strip().rstrip("%").strip().replace(",", ".")) / 100
    except InvalidOperation:
        raise MappingError(f"premium is in per cent with its tax, such as 15; got {per_cent!r}") from None
    if not 0 <= rate < 1:
        raise MappingError(f"premium is between 0 and 100 per cent of the hammer price; got {per_cent!r}")
    stated = sorted({*currencies, mapping.constants.get("currency", "")} - {""})
    if not stated:
        raise MappingError("a premium in per cent needs the currency of the file: answer currency first")
    others = [charge for charge in mapping.charges if charge.kind != "premium"]
    new = [Charge(mapping.source, "premium", FIRST_SALE, currency, (Tier(rate),)) for currency in stated]
    return *others, *new
