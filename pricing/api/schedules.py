"""Dated charges as they come in: whoever charges, what, from when, at which rates."""

from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Final

from pydantic import ConfigDict, Field

from pricing.api.schemas import Cost, Currency, Name, OneOf, Sent, Word
from pricing.money.charges import KINDS, Schedule, read_charge

Rate = Annotated[
    Decimal, Field(ge=0, lt=1, max_digits=7, decimal_places=6, description="A part of one: 0.15 is 15%.")
]

MOST_CHARGES: Final = 200
MOST_TIERS: Final = 20

CHARGES_EXAMPLE: Final[dict[str, Any]] = {
    "name": "charges of the sale room",
    "charges": [
        {
            "source": "auction", "kind": "premium", "from": "2026-01-01", "currency": "EUR",
            "tiers": [{"rate": "0.15", "up_to": "50000"}, {"rate": "0.12"}], "tax": "0.21", "minimum": "150",
        },
        {
            "source": "auction", "kind": "commission", "from": "2026-01-01", "currency": "EUR",
            "tiers": [{"rate": "0.08"}], "tax": "0.21",
        },
    ],
}  # fmt: skip


class TierIn(Sent):
    """A rate for the part of the hammer price up to `up_to`, above the tier before; the last has no end."""

    rate: Rate
    up_to: Annotated[Decimal, Field(gt=0, le=10**9, max_digits=15, decimal_places=3)] | None = None


class ChargeIn(Sent):
    """What one source charges, from a day until a later charge of the same kind, or to the end of `until`."""

    source: Name = Field(description="Whoever charges: a channel, or the country an import goes to.")
    kind: Annotated[str, OneOf(KINDS)]
    begins: date = Field(alias="from")
    until: date | None = None
    currency: Currency
    tiers: list[TierIn] = Field(min_length=1, max_length=MOST_TIERS)
    tax: Rate = Field(Decimal(0), description="On the charge.")
    minimum: Cost = Field(Decimal(0), description="Before tax.")


class ScheduleIn(Sent):
    """Dated charges, as the files of `pricing buy --charges` hold them."""

    model_config = ConfigDict(json_schema_extra={"examples": [CHARGES_EXAMPLE]})

    name: Name = "the charges given"
    notice: Word = Field("", description="Told beside every total.")
    example: bool = Field(False, description="Whether the rates show their form alone, which is then said.")
    charges: list[ChargeIn] = Field(min_length=1, max_length=MOST_CHARGES)

    def schedule(self) -> Schedule:
        """The same as the library has it.

        Raises:
            MoneyError: a charge makes no sense.
        """
        return Schedule(
            self.name, self.notice, self.example,
            tuple(read_charge(charge.model_dump(by_alias=True)) for charge in self.charges),
        )  # fmt: skip
