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
    "order": "date_order",
    "odometer_km": "odometer_unit",
    "amount_unit": "amount_unit",
    "decimal": "decimal",
}
"""By answer the field of a mapping that it goes into."""


def with_answers(proposal: Proposal, answers: Mapping[str, str]) -> Proposal:
    """A proposal with what holds for the whole file: by column of ours the value of every row, or ``order``
    of dates,
    ``odometer_km`` (its unit), ``year`` (year or age), ``amount_unit``, ``decimal``, ``premium`` (the
    buyer's, in per
    cent with its tax), ``car`` (by words, or refuse), and ``column:word`` for what a word of theirs means.
    ``unknown``
    leaves channel, country or a word unknown.

    Raises:
        MappingError: there is no such name, or its value is none of those it may have.

    >>> from pricing.intake.mappings.questions import Question
    >>> asked = (Question("constants", "channel", "no column says it"),)
    >>> asked = Proposal(Columns("club", {"make": "Make"}), asked)
    >>> with_answers(asked, {"channel": "private"}).mapping.constants
    {'channel': 'private'}
    >>> with_answers(asked, {"channel": "unknown"}).questions
    ()
    >>> with_answers(asked, {"condition_band:tatty": "project"}).mapping.words
    {'condition_band': {'tatty': 'project'}}
    """
    mapping = proposal.mapping
    for name, value in answers.items():
        if name != "premium":
            mapping = _answered(mapping, name, value)
    if "premium" in answers:
        mapping = replace(mapping, charges=_charges(mapping, proposal.currencies, answers["premium"]))
    given = {name.lower() for name in answers}
    left = [
        asked
        for asked in proposal.questions
        if asked.name.lower() not in given and asked.section != "premium"
    ]
    return replace(proposal, mapping=mapping, questions=(*left, *premium_question(mapping)))


def _answered(mapping: Columns, name: str, value: str) -> Columns:
    column, colon, word = name.partition(":")
    choices = CHOICES.get(column)
    if value == UNKNOWN and (colon or name in MAY_BE_UNKNOWN):
        constants = {ours: said for ours, said in mapping.constants.items() if ours != name}
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
    if name in _FIELDS:
        field: dict[str, Any] = {_FIELDS[name]: value}
        return replace(mapping, **field)
    if name == "car":
        return replace(mapping, car_words=value == "by words")
    if name == "year" and value in YEAR_UNITS:
        return replace(mapping, year_unit=value)
    if name not in COLUMNS:
        known = (*COLUMNS, *CHOICES, "premium")
        raise MappingError(
            f"no answer is called {name!r}{did_you_mean(name, known)}; see: pricing format --mapping"
        )
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
    currencies_said = {*currencies, mapping.constants.get("currency", "")} - {""}
    if not currencies_said:
        raise MappingError("a premium in per cent needs the currency of the file: answer currency first")
    others = tuple(charge for charge in mapping.charges if charge.kind != "premium")
    return others + tuple(
        Charge(mapping.source, "premium", FIRST_SALE, currency, (Tier(rate),))
        for currency in sorted(currencies_said)
    )
