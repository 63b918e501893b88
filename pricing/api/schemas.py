"""What goes in and out of the API about cars, and dated charges: names, units, examples."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, Final, Required

from pydantic import BaseModel, ConfigDict, FailFast, Field, GetCoreSchemaHandler, WithJsonSchema
from pydantic_core import CoreSchema, core_schema
from typing_extensions import TypedDict

from pricing.car_fields import FIELDS, NEEDED
from pricing.car_fields import Field as CarField
from pricing.money.charges import KINDS, Schedule, read_charge
from pricing.records.contract import COUNTRIES, HIGHEST_AMOUNT, LONGEST_WORD, LOWEST_AMOUNT


@dataclass(frozen=True)
class OneOf:
    """Beside ``str`` in ``Annotated``: one of these words.

    >>> from typing import Annotated
    >>> from pydantic import TypeAdapter
    >>> TypeAdapter(Annotated[str, OneOf(("km", "miles"))]).json_schema()
    {'enum': ['km', 'miles'], 'type': 'string'}
    """

    words: tuple[str, ...]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.literal_schema(list(self.words))


def _amount_schema(least: int) -> WithJsonSchema:
    bounds = {"minimum": least, "maximum": HIGHEST_AMOUNT}
    return WithJsonSchema({"anyOf": [{"type": "number"} | bounds, {"type": "string", "pattern": _DECIMAL}]})


_DECIMAL: Final = r"^\d{1,15}(\.\d{1,3})?$"

Word = Annotated[str, Field(max_length=LONGEST_WORD, pattern=r"^[^\x00-\x1f\x7f]*$")]
Name = Annotated[str, Field(min_length=1, max_length=LONGEST_WORD, pattern=r"^[^\x00-\x1f\x7f]*$")]
Amount = Annotated[Decimal, Field(max_digits=18, decimal_places=3), _amount_schema(LOWEST_AMOUNT)]
"""A price; its bounds are documented here, and asked for by ``entered_amounts``, as at every door."""
Cost = Annotated[Decimal, Field(max_digits=18, decimal_places=3), _amount_schema(0)]
Currency = Annotated[str, Field(pattern="^[A-Z]{3}$", examples=["GBP"])]
Country = Annotated[str, OneOf(tuple(sorted(COUNTRIES)))]
Coverage = Annotated[
    float, Field(ge=0.05, le=0.99, description="Share of like cars that the range is to hold.")
]
Day = Annotated[date, Field(ge=date(1945, 1, 1), le=date(2200, 12, 31))]
Money = Annotated[str, Field(pattern=r"^-?\d+(\.\d+)?$", examples=["4650.00"])]
"""An amount as it goes out: a decimal text, so that no program makes a binary fraction of it."""

Row = dict[str, Any]

CAR_EXAMPLE: Final = {
    name: FIELDS[name].example
    for name in ("make", "model", "year", "condition_band", "odometer_km", "options")
}

_annotated: Any = Annotated  # of types that are known when the program runs


def _field_type(field: CarField) -> Any:
    """A field of a car as it comes in: of its kind. Its words and bounds are documented, and asked for by
    ``pricing.car``, as at every door."""
    one: dict[str, Any] = {"type": "string"} | ({"enum": list(field.words)} if field.words else {})
    bounds = {"minimum": field.least, "maximum": field.most}
    number = {name: bound for name, bound in bounds.items() if bound is not None}
    kind, documented = {
        "text": (Word, one),
        "texts": (Annotated[list[Word], FailFast()], {"type": "array", "items": one, "uniqueItems": True}),
        "whole": (Annotated[int, Field(ge=-(2**31), le=2**31)], {"type": "integer"} | number),
        "number": (Annotated[float, Field(allow_inf_nan=False)], {"type": "number"} | number),
        "yes or no": (bool, {"type": "boolean"}),
    }[field.kind]
    documented |= {"description": f"{field.asks[0].upper()}{field.asks[1:]}.", "examples": [field.example]}
    kind_of: Any = _annotated[kind, WithJsonSchema(documented)]
    return kind_of if field.name in (*NEEDED, "options") else kind_of | None


def _needed(schema: dict[str, Any]) -> None:
    """What a car needs, as documented; where it is missing, ``pricing.car`` says so."""
    schema["required"] = [*NEEDED, *schema.get("required", [])]
    schema["examples"] = [CAR_EXAMPLE]


_Asking = Annotated[Amount, Field(description="All-in, in the market's base currency.")]
_CONFIG: Final = ConfigDict(extra="forbid", json_schema_extra=_needed)

if TYPE_CHECKING:
    Car = dict[str, Any]
    OfferedCar = dict[str, Any]
    PricedCar = dict[str, Any]
else:
    _FIELDS = {name: _field_type(field) for name, field in FIELDS.items()}
    Car = TypedDict("Car", _FIELDS, total=False)
    OfferedCar = TypedDict("OfferedCar", _FIELDS | {"asking": _Asking | None}, total=False)
    PricedCar = TypedDict("PricedCar", _FIELDS | {"asking": Required[_Asking]}, total=False)
    for _kind in (Car, OfferedCar, PricedCar):
        _kind.__pydantic_config__ = _CONFIG
    Car.__doc__ = "A car. What is not said is not known, which makes its range wider."
    OfferedCar.__doc__ = "A car and what is asked for it."
    PricedCar.__doc__ = "A car and what is asked for it, which is needed."


class Sent(BaseModel):
    """What a caller sends: nothing beside what is named."""

    model_config = ConfigDict(extra="forbid")


class Warned(BaseModel):
    """Numbers of a market, with what has to be known of it first."""

    warning: str | None = Field(
        description="That the market holds no sale, that its last is old, or its fit behind; null where "
        "nothing is the matter."
    )


class Question(Sent):
    """What is asked of a price model."""

    as_of: Day | None = Field(
        None, description="Date the price holds at; the model's last sale when not given."
    )
    coverage: Coverage = 0.8
    fit: Annotated[str, Field(pattern=r"^fit-\d{4,9}$", examples=["fit-0001"])] | None = Field(
        None, description="A kept fit; the newest when not given."
    )


class ValueQuestion(Question):
    """A list of cars to be valued."""

    cars: Annotated[list[OfferedCar], FailFast()] = Field(
        min_length=1, description="Up to `largest_list` cars (50,000 by default)."
    )


class ValuationQuestion(Question):
    """One car to be valued, with every fact."""

    car: OfferedCar


class StandingQuestion(Question):
    """Where the price asked for a car stands."""

    car: PricedCar


class Value(BaseModel):
    """The value of one car of a list."""

    low: Money | None = Field(description="All-in, in `currency`; null where `reason` or `refused` says why.")
    mid: Money | None
    high: Money | None
    evidence: str | None = Field(
        description="How deep the evidence behind the range is.", examples=["over 20 sales"]
    )
    reason: str | None = Field(description="Why no range is given.")
    remark: str | None = Field(description="What a reader should know of the range.")
    standing: float | None = Field(ge=0, le=1, description="Share of like cars that would sell for less.")
    refused: str | None = Field(description="Why this car cannot be valued at all.")


class Values(Warned):
    """The values of a list of cars, in its order."""

    currency: str = Field(examples=["EUR"], description="ISO 4217.")
    basis: str = Field(examples=["all-in"], description="What an amount includes: all that a buyer pays.")
    as_of: date
    coverage: float
    fit: str
    values: list[Value]


class ValuationFacts(Warned):
    """Everything that is known of one car's price. Amounts are in `currency`, on `basis`, at `as_of`."""

    car: Row
    currency: str
    as_of: date
    coverage: float
    low: Money | None
    mid: Money | None
    high: Money | None
    evidence: str
    reason: str | None
    remark: str | None = Field(description="What a reader should know of the range.")
    asking: Money | None
    standing: float | None = Field(
        description="Share of like cars that would sell for less than `asking`, 0 to 1."
    )
    distribution: list[Row] = Field(
        description="Price brackets with the share of like cars that sell in each."
    )
    terms: list[Row] = Field(description="Factors that multiply to the mid price, with their 80% intervals.")
    bands: list[Row] = Field(description="The car in every condition band.")
    sales: list[Row] = Field(description="Sold cars of the same model, nearest first.")
    unsold: int
    asked: int
    basis: str


class Standing(Warned):
    """Where an asking price stands."""

    asking: Money
    currency: str
    as_of: date
    standing: float | None = Field(ge=0, le=1, description="Share of like cars that would sell for less.")
    reason: str | None


class Contributions(Warned):
    """What makes up a mid price."""

    currency: str
    as_of: date
    mid: Money | None
    reason: str | None
    terms: list[Row] = Field(
        description="`term`, `value`, `factor` and its 80% interval; the factors multiply to `mid`."
    )


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
