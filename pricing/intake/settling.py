"""Settling what a proposed mapping asks: an answer goes into the mapping's text, and its question out of
it."""

import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from pricing.errors import MappingError
from pricing.intake.mapping import YEAR_UNITS
from pricing.intake.mapping_files import read_mapping
from pricing.intake.proposals import MAY_BE_UNKNOWN, Proposal, open_questions
from pricing.intake.written.dates import ORDERS
from pricing.money.currencies import CURRENCIES
from pricing.records.contract import COUNTRIES
from pricing.vocabulary import AMOUNT_UNITS, CHANNELS, DISTANCE_UNITS, OUTCOMES, PRICE_BASES

_ASKS: Final = re.compile(r"\[(constants|dates|units)\] (\w+): ")

_CHOICES: Final[dict[str, Sequence[str]]] = {
    "channel": CHANNELS,
    "outcome": OUTCOMES,
    "price_basis": PRICE_BASES,
    "country": sorted(COUNTRIES),
    "currency": sorted(CURRENCIES),
    "order": ORDERS,
    "odometer_km": tuple(DISTANCE_UNITS),
    "amount_unit": tuple(AMOUNT_UNITS),
}


@dataclass(frozen=True)
class Question:
    """One open question that a single word settles: the ``section`` and ``key`` of the mapping it is about,
    and the ``choices`` there are."""

    text: str
    section: str
    key: str
    choices: tuple[str, ...]


def answerable(text: str) -> tuple[Question, ...]:
    """The open questions of a mapping's text that one word out of a list settles; others are settled by hand.

    >>> answerable('# To settle: [units] odometer_km: names no unit\\nsource = "hall"')[0].choices[:2]
    ('km', 'miles')
    """
    found = []
    for question in open_questions(text):
        asks = _ASKS.match(question)
        if asks and asks[2] in _CHOICES:
            found.append(Question(question, asks[1], asks[2], tuple(_CHOICES[asks[2]])))
    return tuple(found)


def settled(text: str, question: Question, answer: str) -> str:
    """The mapping's text with a question answered.

    Raises:
        MappingError: the answer is none of the choices, or the text is no mapping.

    >>> asked = '# To settle: [dates] order: which\\nsource = "hall"\\n[columns]\\nevent_date = "Day"\\n'
    >>> "To settle" in settled(asked, answerable(asked)[0], "day-month-year")
    False
    """
    with tempfile.TemporaryDirectory(prefix="pricing-") as folder:
        path = Path(folder) / "mapping.toml"
        path.write_text(text, encoding="utf-8")
        try:
            mapping = read_mapping(path)
        except MappingError as error:
            raise MappingError(str(error).replace(f"{folder}/", "")) from error
    asked = Proposal(mapping, tuple(open_questions(text)))
    return with_answers(asked, {question.key: answer}).text


def with_answers(proposal: Proposal, answers: Mapping[str, str]) -> Proposal:
    """A proposal with what holds for the whole file: by column of ours the value of every row, or ``order``
    of dates, ``odometer_km`` (its unit), ``year`` (year or age), ``amount_unit``, ``decimal``. ``unknown``
    leaves channel or country unknown.

    Raises:
        MappingError: there is no such name, or its value is none of those it may have.

    >>> from pricing.intake.mapping import Mapping as Columns
    >>> asked = Proposal(Columns("club", {"make": "Make"}), ("[constants] channel: no column says it",))
    >>> with_answers(asked, {"channel": "private"}).mapping.constants
    {'channel': 'private'}
    >>> with_answers(asked, {"channel": "unknown"}).questions
    ()
    """
    mapping, questions = proposal.mapping, proposal.questions
    for key, value in answers.items():
        choices = _CHOICES.get(key)
        left_open = key in MAY_BE_UNKNOWN and value == "unknown"
        if choices is not None and value not in choices and not left_open:
            raise MappingError(f"{key} is one of {', '.join(choices[:8])}; got {value!r}")
        if key == "order":
            mapping = replace(mapping, date_order=value)
        elif key == "odometer_km":
            mapping = replace(mapping, odometer_unit=value)
        elif key == "amount_unit":
            mapping = replace(mapping, amount_unit=value)
        elif key == "decimal":
            mapping = replace(mapping, decimal=value)
        elif key == "year" and value in YEAR_UNITS:
            mapping = replace(mapping, year_unit=value)
        elif not left_open:
            columns = {ours: theirs for ours, theirs in mapping.columns.items() if ours != key}
            mapping = replace(mapping, columns=columns, constants={**mapping.constants, key: value})
        questions = tuple(asked for asked in questions if _asked_key(asked) != key)
    return Proposal(mapping, questions, proposal.columns)


def _asked_key(question: str) -> str | None:
    asks = _ASKS.match(question)
    return None if asks is None else asks[2]
