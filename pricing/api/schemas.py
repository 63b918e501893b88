"""What goes in and out of the API about one car or a list of them: names, units, examples."""

from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Final, Required

from pydantic import BaseModel, ConfigDict, Field
from typing_extensions import TypedDict

from pricing.api.words import OneOf
from pricing.records.contract import (
    COUNTRIES,
    FIRST_YEAR,
    HIGHEST_AMOUNT,
    HIGHEST_ODOMETER_KM,
    LONGEST_WORD,
    LOWEST_AMOUNT,
)
from pricing.vocabulary import CHANNELS, CONDITION_BANDS, DRIVE_SIDES, MATCHING_NUMBERS, OPTION_CODES

LAST_YEAR: Final = 2200

Word = Annotated[str, Field(max_length=LONGEST_WORD, pattern=r"^[^\x00-\x1f\x7f]*$")]
Name = Annotated[str, Field(min_length=1, max_length=LONGEST_WORD, pattern=r"^[^\x00-\x1f\x7f]*$")]
Amount = Annotated[
    Decimal,
    Field(ge=LOWEST_AMOUNT, le=HIGHEST_AMOUNT, max_digits=15, decimal_places=3),
]
Cost = Annotated[Decimal, Field(ge=0, le=10**9, max_digits=15, decimal_places=3)]
Currency = Annotated[str, Field(pattern="^[A-Z]{3}$", examples=["GBP"])]
Coverage = Annotated[
    float, Field(ge=0.05, le=0.99, description="Share of like cars that the range is to hold.")
]
Day = Annotated[date, Field(ge=date(1945, 1, 1), le=date(2200, 12, 31))]
Money = Annotated[str, Field(pattern=r"^-?\d+(\.\d+)?$", examples=["4650.00"])]
"""An amount as it goes out: a decimal text, so that no program makes a binary fraction of it."""

Row = dict[str, Any]

CAR_EXAMPLE: Final = {
    "make": "Wexcombe",
    "model": "Sedge",
    "year": 1966,
    "condition_band": "average",
    "odometer_km": 61000,
    "options": ["overdrive"],
}


class Car(TypedDict, total=False):
    """A car. What is not said is not known, which makes its range wider."""

    __pydantic_config__ = ConfigDict(extra="forbid", json_schema_extra={"examples": [CAR_EXAMPLE]})  # type: ignore[misc]

    make: Required[Annotated[Name, Field(description="As in the sale records; capitals do not matter.")]]
    model: Required[Name]
    year: Required[Annotated[int, Field(ge=FIRST_YEAR, le=LAST_YEAR, description="Model year.")]]
    variant: Word | None
    chassis_number: Word | None
    body_style: Word | None
    drive_side: Annotated[str, OneOf(DRIVE_SIDES)] | None
    condition_band: Annotated[str, OneOf(CONDITION_BANDS)] | None
    condition_score: Annotated[float, Field(ge=0, le=100, description="0 to 100.")] | None
    odometer_km: Annotated[float, Field(ge=0, le=HIGHEST_ODOMETER_KM, description="Kilometres.")] | None
    options: Annotated[
        list[Annotated[str, OneOf(OPTION_CODES)]],
        Field(max_length=len(OPTION_CODES), json_schema_extra={"uniqueItems": True}),
    ]
    matching_numbers: Annotated[str, OneOf(MATCHING_NUMBERS)] | None
    history_file: bool | None
    channel: Annotated[str, OneOf(CHANNELS)] | None
    country: Annotated[str, OneOf(tuple(sorted(COUNTRIES)))] | None


class OfferedCar(Car, total=False):
    """A car and what is asked for it."""

    asking: Annotated[Amount, Field(description="All-in, in the market's base currency.")] | None


class Question(BaseModel):
    """What is asked of a price model."""

    model_config = ConfigDict(extra="forbid")

    as_of: Day | None = Field(
        None, description="Date the price holds at; the model's last sale when not given."
    )
    coverage: Coverage = 0.8
    fit: Annotated[str, Field(pattern=r"^fit-\d{4,9}$", examples=["fit-0001"])] | None = Field(
        None, description="A kept fit; the newest when not given."
    )


class ValueQuestion(Question):
    """A list of cars to be valued."""

    cars: list[OfferedCar] = Field(min_length=1, description="Up to `largest_list` cars (50,000 by default).")


class ValuationQuestion(Question):
    """One car to be valued, with every fact."""

    car: OfferedCar


class PricedCar(Car):
    """A car and what is asked for it, which is needed."""

    asking: Required[Annotated[Amount, Field(description="All-in, in the market's base currency.")]]


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


class Values(BaseModel):
    """The values of a list of cars, in its order."""

    currency: str = Field(examples=["EUR"], description="ISO 4217.")
    basis: str = Field(examples=["all-in"], description="What an amount includes: all that a buyer pays.")
    as_of: date
    coverage: float
    fit: str
    values: list[Value]


class ValuationFacts(BaseModel):
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
    terms: list[Row] = Field(description="Factors that multiply to the mid price, with their 80 % intervals.")
    bands: list[Row] = Field(description="The car in every condition band.")
    sales: list[Row] = Field(description="Sold cars of the same model, nearest first.")
    unsold: int
    asked: int
    basis: str


class Standing(BaseModel):
    """Where an asking price stands."""

    asking: Money
    currency: str
    as_of: date
    standing: float | None = Field(ge=0, le=1, description="Share of like cars that would sell for less.")
    reason: str | None


class Contributions(BaseModel):
    """What makes up a mid price."""

    currency: str
    as_of: date
    mid: Money | None
    reason: str | None
    terms: list[Row] = Field(
        description="`term`, `value`, `factor` and its 80 % interval; the factors multiply to `mid`."
    )
