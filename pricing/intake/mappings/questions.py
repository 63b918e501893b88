"""What a file leaves open about itself, and what may be answered."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from pricing.intake.mappings.mapping import Mapping
from pricing.intake.written.dates import ORDERS
from pricing.money.currencies import CURRENCIES
from pricing.records.contract import COUNTRIES
from pricing.vocabulary import (
    AMOUNT_UNITS,
    CHANNELS,
    CONDITION_BANDS,
    DISTANCE_UNITS,
    DRIVE_SIDES,
    MATCHING_NUMBERS,
    OUTCOMES,
    PRICE_BASES,
    UNKNOWN_UNIT,
)

CHOICES: Final[dict[str, Sequence[str]]] = {
    "channel": CHANNELS,
    "outcome": OUTCOMES,
    "price_basis": PRICE_BASES,
    "country": sorted(COUNTRIES),
    "currency": sorted(CURRENCIES),
    "condition_band": CONDITION_BANDS,
    "drive_side": DRIVE_SIDES,
    "matching_numbers": MATCHING_NUMBERS,
    "order": ORDERS,
    "odometer_km": (*DISTANCE_UNITS, UNKNOWN_UNIT),
    "amount_unit": tuple(AMOUNT_UNITS),
    "decimal": (".", ","),
    "car": ("by words", "refuse"),
}
"""By the name of an answer what it may be."""

UNKNOWN: Final = "unknown"
MAY_BE_UNKNOWN: Final = ("channel", "country")
"""What holds for a whole file and a person may not know."""

WORDS_OF: Final = "words."
"""Before our column in the section of a mapping that says what their words mean."""


@dataclass(frozen=True)
class MappingQuestion:
    """What a file does not say: ``section`` and ``key`` of the mapping that would, and why it is asked."""

    section: str
    key: str
    why: str

    @property
    def text(self) -> str:
        """In one line.

        >>> MappingQuestion("units", "odometer_km", "'Odo' names no unit; say km or miles").text
        "[units] odometer_km: 'Odo' names no unit; say km or miles"
        """
        return f"[{self.section}] {self.key}: {self.why}"

    @property
    def name(self) -> str:
        """The name of its answer: of a word the column and the word.

        >>> MappingQuestion("words.condition_band", "tatty", "say what it means").name
        'condition_band:tatty'
        """
        if self.section.startswith(WORDS_OF):
            return f"{self.section.removeprefix(WORDS_OF)}:{self.key}"
        return "car" if self.section == "car" else self.key

    @property
    def choices(self) -> tuple[str, ...]:
        """What the answer may be; nothing where it is no word out of a list."""
        column = self.name.partition(":")[0]
        return () if self.section == "columns" else tuple(CHOICES.get(column, ()))


def premium_question(mapping: Mapping) -> tuple[MappingQuestion, ...]:
    """The buyer's premium, where the prices of a whole file are hammer prices and nothing says it."""
    answered = "premium" in mapping.columns or any(charge.kind == "premium" for charge in mapping.charges)
    if mapping.constants.get("price_basis") != "hammer" or answered:
        return ()
    why = "hammer prices need the buyer's premium in per cent with its tax, such as 15, or to be all-in"
    return (MappingQuestion("premium", "premium", why),)
