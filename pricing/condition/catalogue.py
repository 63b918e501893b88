"""The repair catalogue: jobs with their parts and hours, labour rates by kind of work and country, and taxes.

One TOML file that a person edits. Money in it is without tax, in the currency it names, at the date it names.
"""

import dataclasses
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
)
from pydantic.dataclasses import dataclass

from pricing.condition.checks import Area, Text, read_model
from pricing.errors import InspectionError, MoneyError
from pricing.money.currencies import minor_unit_places
from pricing.plugins import CATALOGUES, plugged_file
from pricing.records.entered_amounts import entered
from pricing.vocabulary import words


class LabourKind(StrEnum):
    """Kinds of work, each with its own rate an hour."""

    WELDING = "welding"
    BODY = "body"
    PAINT = "paint"
    MECHANICAL = "mechanical"
    ELECTRICAL = "electrical"
    TRIM = "trim"


LABOUR_KINDS: Final = words(LabourKind)


def _figure(figure: object) -> Decimal:
    if isinstance(figure, bool) or not isinstance(figure, int | Decimal):
        raise ValueError(f"got {str(figure)[:40]!r}, expected a number")
    value = Decimal(figure)
    if not value.is_finite() or not 0 <= value < 10**9:
        raise ValueError(f"got {value}, expected a number from 0 to below 1,000,000,000")
    return value


def _rising(figures: tuple[Decimal, Decimal, Decimal]) -> tuple[Decimal, Decimal, Decimal]:
    low, likely, high = figures
    if not low <= likely <= high:
        raise ValueError(f"low, likely, high must rise, got {low} / {likely} / {high}")
    return figures


def _currency(code: str) -> str:
    try:
        minor_unit_places(code)
    except MoneyError as error:
        raise ValueError(str(error)) from None
    return code


Figure = Annotated[Decimal, BeforeValidator(_figure)]
Estimate = Annotated[tuple[Figure, Figure, Figure], AfterValidator(_rising)]
"""Low, likely, high."""
Currency = Annotated[str, AfterValidator(_currency)]
_ONLY: Final = ConfigDict(extra="forbid", use_enum_values=True)


@dataclass(frozen=True, config=_ONLY)
class Job:
    """One repair: ``parts`` (without tax, the catalogue's currency) and ``hours`` of one ``kind`` of work,
    both low / likely / high. ``per`` "place" is paid for each finding that leads to it, "car" once; jobs it
    ``includes`` need not be done beside it."""

    id: Text
    title: Text
    area: Area
    kind: LabourKind
    per: Literal["car", "place"]
    parts: Estimate
    hours: Estimate
    includes: tuple[Text, ...] = ()


@dataclass(frozen=True, config=_ONLY)
class Quote:
    """What somebody offered to do a job for, low / likely / high (all equal when fixed): parts, work and tax
    together. It overrides the catalogue."""

    job: Text
    amount: Annotated[
        Estimate, BeforeValidator(lambda figure: figure if isinstance(figure, list | tuple) else [figure] * 3)
    ]
    currency: Currency
    by: str
    quoted_on: date


class _CatalogueTable(BaseModel):
    model_config = _ONLY


class _Head(_CatalogueTable):
    name: Text
    notice: str
    currency: Currency
    price_date: Annotated[date, Field(strict=True)]


class _Labour(_CatalogueTable):
    currency: Currency
    welding: Figure | None = None
    body: Figure | None = None
    paint: Figure | None = None
    mechanical: Figure | None = None
    electrical: Figure | None = None
    trim: Figure | None = None


class _Tables(_CatalogueTable):
    """A catalogue file."""

    catalogue: _Head
    tax: Annotated[dict[str, Figure], Field(min_length=1)]
    labour: Annotated[dict[str, _Labour], Field(min_length=1)]
    job: tuple[Job, ...] = ()


class _Quotes(_CatalogueTable):
    """A file of quotes."""

    quote: tuple[Quote, ...] = ()


@dataclasses.dataclass(frozen=True)
class Catalogue:
    """A repair catalogue. ``notice`` is shown with every figure that comes from it."""

    name: str
    notice: str
    currency: str
    price_date: date
    tax: dict[str, Decimal]
    labour_currency: dict[str, str]
    labour: dict[tuple[str, str], Decimal]
    """Rate an hour by (country, kind), in ``labour_currency[country]``."""
    jobs: dict[str, Job]

    @classmethod
    def open(cls, path: Path) -> "Catalogue":
        """Read a catalogue file, or the catalogue of that name that a package adds (``plugins.CATALOGUES``).
        Raises ``InspectionError`` that names the job and the figure it refuses."""
        path = plugged_file(CATALOGUES, path)
        tables = read_model(path, _Tables, "id", decimals=True)
        jobs: dict[str, Job] = {}
        for job in tables.job:
            if job.id in jobs:
                raise InspectionError(f"{path}: job {job.id!r} stands there twice")
            jobs[job.id] = job
        for job in jobs.values():
            if missing := [name for name in job.includes if name not in jobs]:
                raise InspectionError(f"{path}: job {job.id!r} includes the unknown job {missing[0]!r}")
        rates = {country: rates.model_dump(exclude_none=True) for country, rates in tables.labour.items()}
        return cls(
            **tables.catalogue.model_dump(),
            tax=tables.tax,
            labour_currency={country: rate.pop("currency") for country, rate in rates.items()},
            labour={
                (country, kind): rate for country, kinds in rates.items() for kind, rate in kinds.items()
            },
            jobs=jobs,
        )

    def job(self, job_id: str) -> Job:
        """The job of that id. Raises ``InspectionError`` naming an unknown one."""
        if job_id not in self.jobs:
            raise InspectionError(f"unknown job {job_id!r}: not in the repair catalogue {self.name!r}")
        return self.jobs[job_id]

    def labour_rate(self, country: str, kind: str) -> Decimal:
        """Labour rate an hour without tax. Raises ``InspectionError`` where the catalogue has none."""
        if (country, kind) not in self.labour:
            raise InspectionError(
                f"no labour rate for {kind!r} in country {country!r} in the repair catalogue {self.name!r}"
            )
        return self.labour[country, kind]

    def tax_rate(self, country: str) -> Decimal:
        """Tax as a share of the price without it. Raises ``InspectionError`` where the catalogue has none."""
        if country not in self.tax:
            raise InspectionError(
                f"no tax rate for country {country!r}: not in the repair catalogue {self.name!r}"
            )
        return self.tax[country]


def read_quotes(path: Path) -> tuple[Quote, ...]:
    """The user's own quotes: a TOML file with a ``[[quote]]`` of job, amount (one figure or low / likely /
    high, tax included), currency, by and quoted_on each. Raises ``InspectionError`` naming what it
    refuses."""
    return read_model(path, _Quotes, "job", decimals=True).quote


def quotes_of(amounts: Mapping[str, Decimal], currency: str, on: date) -> tuple[Quote, ...]:
    """Quotes as a person enters them: a fixed amount a job, tax included.

    Raises:
        MoneyError: an amount cannot be meant.

    >>> quotes_of({"engine_rebuild": Decimal(4500)}, "EUR", date(2026, 6, 30))[0].amount[1]
    Decimal('4500')
    """
    for job, amount in amounts.items():
        entered(f"quote for {job.replace('_', ' ')}", amount, currency, cost=True)
    return tuple(Quote(job, (amount,) * 3, currency, "", on) for job, amount in amounts.items())
