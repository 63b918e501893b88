"""What may be said of a car: the one list that forms, addresses, schemas, options and columns are made of."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from pricing import vocabulary
from pricing.errors import CarError

KINDS: Final = {
    "text": "a text", "texts": "a list of texts", "whole": "a whole number", "number": "a number",
    "yes or no": "yes or no",
}  # fmt: skip
"""The kinds of fields, and what is expected of each, in words."""


@dataclass(frozen=True)
class Field:
    """One thing that may be said of a car: its name in a sale record, one of ``KINDS``, what to ask, an
    example, the closed list of its words, or its unit and bounds. The last model year depends on the day."""

    name: str
    kind: str
    asks: str
    example: Any
    words: tuple[str, ...] = ()
    unit: str = ""
    least: float | None = None
    most: float | None = None

    @property
    def label(self) -> str:
        """Its name in words, without its unit."""
        return self.name.removesuffix("_km").replace("_", " ")

    @property
    def question(self) -> str:
        """What to ask, with the words to choose from."""
        return f"{self.asks}; one of: {', '.join(self.words)}" if self.words else self.asks

    def read(self, value: Any) -> Any:
        """A value as the field's kind, None where it says nothing; bounds and lists are not asked here.

        >>> FIELDS["year"].read("1968"), FIELDS["options"].read("tow_bar; overdrive")
        (1968, ['tow_bar', 'overdrive'])

        Raises:
            CarError: a field of the kind has no such value.
        """
        bare = value.strip() if isinstance(value, str) else value
        if bare is None or bare == "":
            return None
        try:
            return _READERS[self.kind](bare)
        except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError):
            got = repr(value)[:80]
            raise CarError(f"{self.label} unreadable: got {got}, expected {KINDS[self.kind]}") from None


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError
    from pricing.clean_text import clean_name  # brings polars, which whoever asks for help goes without

    return clean_name(value, "a car", CarError)


def _texts(value: Any) -> list[str]:
    parts = value.split(";") if isinstance(value, str) else list(value)
    return [part.strip() for part in parts if part.strip()]


def _number(value: Any) -> float:
    number = float("yes" if isinstance(value, bool) else value)
    if not abs(number) < 2.0**31:
        raise ValueError
    return number


def _whole(value: Any) -> int:
    number = _number(value)
    if number != int(number):
        raise ValueError
    return int(number)


def _yes_or_no(value: Any) -> bool:
    return value if isinstance(value, bool) else _ANSWERS[value.casefold()]


_ANSWERS: Final = {**dict.fromkeys(vocabulary.TRUE, True), **dict.fromkeys(vocabulary.FALSE, False)}
_READERS: Final[dict[str, Callable[[Any], Any]]] = {
    "text": _text, "texts": _texts, "whole": _whole, "number": _number, "yes or no": _yes_or_no,
}  # fmt: skip

FIELDS: Final = {
    part.name: part
    for part in (
        Field("make", "text", "make, as in the sale records", "Wexcombe"),
        Field("model", "text", "model", "Sedge"),
        Field("variant", "text", "variant of the model", "Mk II"),
        Field("year", "whole", "model year", 1966, least=vocabulary.FIRST_YEAR),
        Field("chassis_number", "text", "chassis number, of any form", "S6-1042"),
        Field("body_style", "text", "body style, as in the sale records", "saloon"),
        Field("drive_side", "text", "side of the steering wheel", "right", vocabulary.DRIVE_SIDES),
        Field("condition_band", "text", "condition band", "average", vocabulary.CONDITION_BANDS),
        Field("condition_score", "number", "condition score, 0 to 100", 62.0,
              least=vocabulary.BAND_EDGES[0], most=vocabulary.BAND_EDGES[-1]),
        Field("odometer_km", "number", "odometer reading in kilometres", 61000.0, unit="km", least=0.0,
              most=vocabulary.HIGHEST_ODOMETER_KM),
        Field("options", "texts", "options the car has", ["overdrive"], vocabulary.OPTION_CODES),
        Field("matching_numbers", "text", "how it is known that engine and chassis numbers belong together",
              "documented", vocabulary.MATCHING_NUMBERS),
        Field("history_file", "yes or no", "whether papers tell its past", True),
        Field("channel", "text", "where it is offered", "private", vocabulary.CHANNELS),
        Field("country", "text", "country of the offer (ISO 3166-1 alpha-2)", "GB"),
    )
}  # fmt: skip
"""By name; of a car, make, model and year must be said. Names and kinds are those of the sale record."""

NAMES: Final = ("make", "model", "variant")
NEEDED: Final = ("make", "model", "year")
CONDITION: Final = ("condition_band", "condition_score")
"""What an inspection finds, in place of what is said."""
