"""Settling what a proposed mapping asks: an answer goes into the mapping's text, and its question out of
it."""

import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from pricing.errors import MappingError
from pricing.intake.mapping_files import read_mapping
from pricing.intake.proposals import Proposal, open_questions
from pricing.intake.texts import DATE_ORDERS
from pricing.money.currencies import CURRENCIES
from pricing.records.contract import COUNTRIES
from pricing.vocabulary import CHANNELS, DISTANCE_UNITS, OUTCOMES, PRICE_BASES

_ASKS: Final = re.compile(r"\[(constants|dates|units)\] (\w+): ")

_CHOICES: Final[dict[str, Sequence[str]]] = {
    "channel": CHANNELS,
    "outcome": OUTCOMES,
    "price_basis": PRICE_BASES,
    "country": sorted(COUNTRIES),
    "currency": sorted(CURRENCIES),
    "order": tuple(DATE_ORDERS),
    "odometer_km": tuple(DISTANCE_UNITS),
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
    if answer not in question.choices:
        raise MappingError(f"{question.key} is one of {', '.join(question.choices[:8])}; got {answer!r}")
    with tempfile.TemporaryDirectory(prefix="pricing-") as folder:
        path = Path(folder) / "mapping.toml"
        path.write_text(text, encoding="utf-8")
        try:
            mapping = read_mapping(path)
        except MappingError as error:
            raise MappingError(str(error).replace(f"{folder}/", "")) from error
    if question.section == "constants":
        mapping = replace(mapping, constants={**mapping.constants, question.key: answer})
    elif question.section == "dates":
        mapping = replace(mapping, date_order=answer)
    else:
        mapping = replace(mapping, odometer_unit=answer)
    left = tuple(other for other in open_questions(text) if other != question.text)
    return Proposal(mapping, left).text
